"""mutmut, run in a copy of the tree, and what it found."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.selections import Selection

SECTION = "[tool.mutmut]\n"
RESULT = re.compile(r"\s+(?P<name>\S+__mutmut_\d+): (?P<status>.+)")
NAME = re.compile(r"(?P<module>.+)\.(?:x_|xǁ(?P<owner>\w+)ǁ)(?P<function>\w+)__mutmut_\d+")
SPINNER = re.compile(r"[^\n]*[\u2800-\u28ff][^\n]*\n?")
NOTICED = frozenset({"killed", "timeout"})
"""A run that no longer ends is noticed too."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One changed statement: mutmut's name for it, its word for how it went, and the lines that stood and stand there."""

    name: str
    status: str
    was: str = ""
    becomes: str = ""

    @property
    def module(self) -> str:
        """The changed file, as selections name it."""
        return f"{self.function.split(':')[0].replace('.', '/')}.py"

    @property
    def function(self) -> str:
        """What is changed: ``domain.rules.money:minor_units``, ``domain.rules.forecast:Outlook.standing_of``."""
        parts = NAME.fullmatch(self.name)
        if parts is None:
            raise ValueError(f"{self.name} is no mutant's name")
        owner = f"{parts['owner']}." if parts["owner"] else ""
        return f"{parts['module']}:{owner}{parts['function']}"

    @property
    def noticed(self) -> bool:
        """Whether the tests failed, as they should."""
        return self.status in NOTICED


def run_mutmut(folder: Path, selection: Selection, *, workers: int) -> list[Mutant]:
    """Return every mutant of the selection's modules; those that nobody noticed come with their lines."""
    narrow(folder / "pyproject.toml", selection)
    told = mutmut(folder, "run", "--max-children", str(workers))
    results = mutmut(folder, "results", "--all", "true")
    found = mutants_told(results)
    if not found:
        raise SystemExit(f"mutmut has no result:\n{told}")
    return [one if one.noticed else shown(one, mutmut(folder, "show", one.name)) for one in found]


def narrow(project: Path, selection: Selection) -> None:
    """Say in the copy's project file what is mutated and by which tests."""
    settings = {"only_mutate": selection.modules, "pytest_add_cli_args_test_selection": (*selection.tests, *selection.options)}
    # A JSON list of text is a TOML array.
    lines = "".join(f"{name} = {json.dumps(value)}\n" for name, value in settings.items())
    text = project.read_text(encoding="utf-8")
    project.write_text(text.replace(SECTION, SECTION + lines, 1), encoding="utf-8")


def mutmut(folder: Path, *arguments: str) -> str:
    """Return what a command of mutmut says.

    Raises:
        SystemExit: It failed.
    """
    command = [str(Path(sys.executable).with_name("mutmut")), *arguments]
    done = subprocess.run(command, cwd=folder, check=False, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    if done.returncode:
        raise SystemExit(f"mutmut {arguments[0]} failed:\n{SPINNER.sub('', done.stdout)}")
    return done.stdout


def mutants_told(results: str) -> list[Mutant]:
    """Return the mutants of ``mutmut results``."""
    return [Mutant(one["name"], one["status"]) for line in results.splitlines() if (one := RESULT.fullmatch(line))]


def shown(mutant: Mutant, difference: str) -> Mutant:
    """Return the mutant with its lines from ``mutmut show``, one space for any white space between words."""
    lines = [line for line in difference.splitlines() if not line.startswith(("---", "+++", "#"))]
    was, becomes = ([line[1:] for line in lines if line.startswith(sign)] for sign in "-+")
    return Mutant(mutant.name, mutant.status, *(" ".join(" ".join(side).split()) for side in (was, becomes)))
