"""What an import is given, and what it answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from domain.records.nights import ImportKind
from domain.rules.permissions import Role

REMARKS_MOST = 1000
"""How many refusals, and how many notices, a report holds; the counts are of all."""
VALUE_LENGTH = 200
REASON_LENGTH = 2000


@dataclass(frozen=True, slots=True)
class CellFault:
    """Why a cell cannot be taken: a stable code and a sentence."""

    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class ImportRows:
    """The rows of a list, read: one list of values for each column that the kind knows, ``None`` where blank.

    A value is a text, number, date, word of an enumeration or tuple in the unit that the column's name bears, or a ``CellFault``. A date
    that may be known in part comes with how exactly it is known, a quantity as the number that was written and its unit or ``None``.
    ``cells`` are the same columns as the file shows them, ``headings`` their headings. ``numbers`` are the rows as the sheet counts them,
    from 1; ``indexes`` count from 0 below the headings.
    """

    kind: ImportKind
    columns: Mapping[str, Sequence[Any]]
    cells: Mapping[str, Sequence[Any]]
    headings: Mapping[str, str]
    numbers: Sequence[int]
    indexes: Sequence[int]
    skipped_totals: int = 0
    ignored_columns: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.numbers)


@dataclass(frozen=True, slots=True)
class ImportFileFacts:
    """Which file it was: its name, and SHA-256 as hexadecimal text."""

    name: str
    sha256: str


@dataclass(frozen=True, slots=True)
class ImportOptions:
    """What is to be done with the rows.

    ``dry_run`` writes nothing. ``skip_invalid`` writes the good rows though others are refused; without it a refusal means that nothing is
    written. ``create_enclosures`` makes the enclosures that equipment names and that are not on record. ``roles`` are those that whoever
    imports may give to people.
    """

    dry_run: bool = False
    skip_invalid: bool = False
    create_enclosures: bool = False
    roles: frozenset[Role] = frozenset(Role)


@dataclass(frozen=True, slots=True)
class RowRemark:
    """A refusal, or a notice about a row that is taken all the same.

    ``row`` is the row as the sheet counts them, ``index`` counts data rows from 0, ``column`` is the heading as in the file, empty where
    the row as a whole is meant.
    """

    row: int
    index: int
    column: str
    value: str
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What came of an import, or would come of it.

    ``rows_read`` are all rows that are not blank: created, changed, unchanged, refused and skipped total lines together. ``refused``
    counts rows; a row may have several refusals. With ``written`` false, created and changed say what would have been.
    """

    kind: ImportKind
    file_name: str
    sha256: str
    rows_read: int
    created: int
    changed: int
    unchanged: int
    refused: int
    skipped_totals: int
    enclosures_created: int
    ignored_columns: tuple[str, ...]
    refusals: tuple[RowRemark, ...]
    notices: tuple[RowRemark, ...]
    written: bool
    dry_run: bool
