"""A plugin of pytest for the runs of single mutants, each in a fork of a process that has run the tests before.

What the product remembers from then is forgotten, or a mutant behind a cache would never be asked. Property tests stop at their first
counterexample, since nobody reads the smallest one of a mutant.
"""

from __future__ import annotations

import sys

from hypothesis import Phase, settings

PRODUCT = ("api.", "domain.", "reports.", "seed.")

settings.register_profile("afresh", phases=[Phase.explicit, Phase.generate], database=None)
settings.load_profile("afresh")


def pytest_sessionstart() -> None:
    """Empty the caches of the product's functions."""
    for name, module in list(sys.modules.items()):
        if not name.startswith(PRODUCT):
            continue
        for remembered in vars(module).values():
            if forget := getattr(remembered, "cache_clear", None):
                forget()
