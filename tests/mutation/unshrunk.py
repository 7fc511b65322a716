"""A plugin of pytest: property tests stop at the first counterexample, since nobody reads the smallest one of a mutant."""

from __future__ import annotations

from hypothesis import Phase, settings

settings.register_profile("unshrunk", phases=[Phase.explicit, Phase.generate], database=None)
settings.load_profile("unshrunk")
