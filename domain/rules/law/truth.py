"""Truth with a third value: what cannot be said until more is known, and what that is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Truth:
    """Whether something holds: yes, no, or, where ``missing`` names facts, not to be said without them."""

    holds: bool
    missing: frozenset[str] = frozenset()

    @property
    def is_known(self) -> bool:
        """Whether it can be said."""
        return not self.missing

    @property
    def is_true(self) -> bool:
        """Whether it is known to hold."""
        return self.holds and not self.missing

    @property
    def is_false(self) -> bool:
        """Whether it is known not to hold."""
        return not self.holds and not self.missing

    def __invert__(self) -> Truth:
        return Truth(not self.holds and self.is_known, self.missing)


YES, NO = Truth(holds=True), Truth(holds=False)


def known(holds: bool) -> Truth:  # noqa: FBT001 - the value itself
    """Return a truth that is known."""
    return YES if holds else NO


def unknown(*missing: str) -> Truth:
    """Return that something cannot be said without these facts."""
    return Truth(holds=False, missing=frozenset(missing))


def all_of(truths: Iterable[Truth]) -> Truth:
    """Return whether all hold: one that is false settles it, whatever is missing elsewhere."""
    missing: frozenset[str] = frozenset()
    for one in truths:
        if one.is_false:
            return NO
        missing |= one.missing
    return unknown(*missing) if missing else YES


def any_of(truths: Iterable[Truth]) -> Truth:
    """Return whether any holds: one that is true settles it, whatever is missing elsewhere."""
    missing: frozenset[str] = frozenset()
    for one in truths:
        if one.is_true:
            return YES
        missing |= one.missing
    return unknown(*missing) if missing else NO
