"""The usual cautions for each kind of equipment, by id; the sentences stand in the papers' own catalogue."""

from __future__ import annotations

from collections.abc import Iterable

from domain.rules.service_life import CheckKind

_ULTRAVIOLET = ("isolate-supply", "hot-surface", "uv-eyes", "mercury-lamp-disposal", "measure-after-fitting")
_LAMP = ("isolate-supply", "hot-surface")
_WET = ("isolate-supply", "water-hygiene")
_MEDIA = ("water-hygiene", "keep-biofilter")
_PROBE = ("water-hygiene", "chemicals-eyes")

USUAL_CAUTIONS: dict[str, tuple[str, ...]] = {
    "uvb-tube": _ULTRAVIOLET,
    "uvb-compact-lamp": _ULTRAVIOLET,
    "mercury-vapour-lamp": _ULTRAVIOLET,
    "metal-halide-lamp": _ULTRAVIOLET,
    "uvc-lamp": ("isolate-supply", "uv-eyes", "mercury-lamp-disposal", "water-hygiene"),
    "quartz-sleeve": ("isolate-supply", "uv-eyes", "water-hygiene"),
    "halogen-lamp": _LAMP,
    "led-lamp": ("isolate-supply",),
    "ceramic-heater": _LAMP,
    "radiant-panel": _LAMP,
    "heat-mat": _LAMP,
    "water-heater": ("isolate-supply", "hot-surface", "water-hygiene"),
    "chiller": _WET,
    "thermostat": ("isolate-supply",),
    "circulation-pump": _WET,
    "air-pump": ("isolate-supply",),
    "filter": ("isolate-supply", "water-hygiene", "pressurised-canister"),
    "mechanical-media": _MEDIA,
    "biological-media": _MEDIA,
    "carbon-media": _MEDIA,
    "ph-probe": _PROBE,
    "oxygen-probe": _PROBE,
    "temperature-probe": ("water-hygiene",),
    "conductivity-probe": _PROBE,
    "reagent": ("chemicals-eyes",),
    "residual-current-device": ("isolate-supply",),
    "incubator": _LAMP,
    "generator": _LAMP,
    "battery": ("isolate-supply", "chemicals-eyes"),
}
"""Kinds that are not here have no usual caution of their own."""


DONE_UNDER_SUPPLY = frozenset({CheckKind.RESIDUAL_CURRENT})
"""Checks that need the supply on, so that "isolate first" would be the wrong advice."""


def cautions_for(kind: str, own: Iterable[str], *, check: CheckKind | None = None) -> tuple[str, ...]:
    """Return the usual cautions of a kind of equipment and then the model's own, each once; ``check`` is what is to be done, if a check."""
    every = tuple(dict.fromkeys((*USUAL_CAUTIONS.get(kind, ()), *own)))
    if check is None:
        return every
    left = tuple(one for one in every if one != "measure-after-fitting")
    if check in DONE_UNDER_SUPPLY:
        return tuple("live-test" if one == "isolate-supply" else one for one in left)
    return left
