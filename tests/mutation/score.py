"""How many mutants were noticed, without those that are listed as equal to what they replace."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from tests.mutation.mutants import Mutant
from tests.mutation.selections import HERE, Selection


@dataclass(frozen=True, slots=True)
class Equivalent:
    """A change that no test can notice, and why."""

    function: str
    was: str
    becomes: str
    reason: str

    @property
    def change(self) -> tuple[str, str, str]:
        """What it has in common with its mutants."""
        return self.function, self.was, self.becomes


@dataclass(frozen=True, slots=True)
class Tally:
    """How many mutants of a module there are, how many the tests killed or never got through, and what is left of the others."""

    name: str
    mutants: int
    killed: int
    timeouts: int
    equivalent: int
    left: tuple[Mutant, ...]

    @property
    def score(self) -> float:
        """The share that was noticed of those that can be [%]."""
        noticeable = self.mutants - self.equivalent
        return 100 * (self.killed + self.timeouts) / noticeable if noticeable else 100.0

    def __add__(self, other: Tally) -> Tally:
        """Return both together, under the first's name."""
        return Tally(
            self.name,
            self.mutants + other.mutants,
            self.killed + other.killed,
            self.timeouts + other.timeouts,
            self.equivalent + other.equivalent,
            self.left + other.left,
        )


def equivalents(selection: Selection) -> list[Equivalent]:
    """Return those listed for the selection's modules."""
    written = tomllib.loads((HERE / "equivalents.toml").read_text(encoding="utf-8"))["equivalent"]
    of_modules = tuple(f"{module.removesuffix('.py').replace('/', '.')}:" for module in selection.modules)
    return [Equivalent(**one) for one in written if one["function"].startswith(of_modules)]


def tallied(module: str, found: Sequence[Mutant], listed: Sequence[Equivalent]) -> Tally:
    """Return the figures of one module."""
    changes = {one.change for one in listed}
    here = [one for one in found if one.module == module]
    unnoticed = [one for one in here if not one.noticed]
    left = tuple(one for one in unnoticed if change_of(one) not in changes)
    how = Counter(one.status for one in here)
    return Tally(module, len(here), how["killed"], how["timeout"], len(unnoticed) - len(left), left)


def change_of(mutant: Mutant) -> tuple[str, str, str]:
    """Return what a mutant has in common with its entry in the list."""
    return mutant.function, mutant.was, mutant.becomes


def stale(found: Sequence[Mutant], listed: Sequence[Equivalent]) -> list[str]:
    """Return a line for each entry of the list that fits no survivor: it is noticed now, or its code has changed."""
    survived = {change_of(one) for one in found if not one.noticed}
    return [f"equivalents.toml fits no survivor: {one.function}: {one.becomes}" for one in listed if one.change not in survived]


def summed(tallies: Sequence[Tally], *, name: str) -> Tally:
    """Return all figures together."""
    return replace(sum(tallies[1:], tallies[0]), name=name)


def figures(tally: Tally) -> str:
    """Return the figures in a line."""
    how = Counter(one.status for one in tally.left)
    others = "".join(f", {number} {status}" for status, number in sorted(how.items()))
    return (
        f"{tally.name}: {tally.mutants} mutants, {tally.killed} killed, {tally.timeouts} timeouts, "
        f"{tally.equivalent} equivalent{others}: {tally.score:.1f} %"
    )


def survivors(tally: Tally) -> list[str]:
    """Return each mutant that nobody noticed, as it stands there."""
    return [f"  {one.status} {one.name}\n    - {one.was}\n    + {one.becomes}" for one in tally.left]
