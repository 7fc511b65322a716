"""How many faults, put into the product one by one, its tests notice: ``python -m tests.mutation [selection or module ...]``.

mutmut works in a copy of the tree, so that no broken line ever stands in the checkout. Exit status 1: a selection is below its aim, or
an entry of ``equivalents.toml`` fits no survivor any more.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from collections.abc import Iterable
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.mutation.mutants import Mutant, run_mutmut
from tests.mutation.score import equivalents, figures, stale, summed, survivors, tallied
from tests.mutation.selections import HOUSE, Selection, chosen, selections

COPIED = ("api", "domain", "migrations", "reports", "seed", "tests", "README.md", "pyproject.toml")
LEFT_OUT = shutil.ignore_patterns("__pycache__", ".*", "node_modules", "mutants")


def main(arguments: list[str]) -> int:
    """Mutate what is asked for and print each module's score and what survived."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("names", nargs="*", help="selections, or modules such as domain/rules/money.py; everything by default")
    parser.add_argument("--workers", type=int, default=1, help="mutants tried at once")
    asked = parser.parse_args(arguments)
    met = [judged(selection, workers=asked.workers) for selection in chosen(selections(), asked.names)]
    return 0 if all(met) else 1


def judged(selection: Selection, *, workers: int) -> bool:
    """Try one selection, print its figures, and return whether it meets its aim."""
    found, listed = tried(selection, workers=workers), equivalents(selection)
    tallies = [tallied(module, found, listed) for module in selection.modules]
    together = summed(tallies, name=selection.name)
    left_over = stale(found, listed)
    tell([*(figures(one) for one in tallies), figures(together), *survivors(together), *left_over])
    return together.score >= selection.aim and not left_over


def tried(selection: Selection, *, workers: int) -> list[Mutant]:
    """Return what became of every mutant of the selection."""
    with TemporaryDirectory(prefix="reedbed-mutation-") as name:
        folder = Path(name)
        for part in COPIED:
            if (HOUSE / part).is_dir():
                shutil.copytree(HOUSE / part, folder / part, ignore=LEFT_OUT)
            else:
                shutil.copy2(HOUSE / part, folder / part)
        return run_mutmut(folder, selection, workers=workers)


def tell(lines: Iterable[str]) -> None:
    """Print lines."""
    sys.stdout.writelines(f"{line}\n" for line in lines)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
