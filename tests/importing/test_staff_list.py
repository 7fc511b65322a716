"""A list of staff: people known again by their names, and roles that not everybody may give."""

from __future__ import annotations

from functools import partial

import pytest

from api.importing import ImportOptions, import_file
from domain.actions.recording import Ending
from domain.actions.staff import end_staff
from domain.records.nights import ImportKind
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.rules.permissions import Role
from tests import makers
from tests.importing.conftest import codes, counts, text

pytestmark = pytest.mark.usefixtures("living")

HEADINGS = "name role site contact note"
LIST = (
    ["Bo Reed", "keeper", "Reedmere House", "bo@marshlight.example", ""],
    ["Cleo Tern", "Registrar", "", "", "licence holder"],
)
KEEPERS_ALONE = frozenset((Role.VIEWER, Role.KEEPER))


@pytest.fixture
def staffed(listed):
    return lambda *rows, **rest: listed("staff", HEADINGS, *rows, **rest)


@pytest.fixture
def by_somebody(store, organisation):
    """Return a function that imports rows as somebody who may give some roles only."""

    def run(*rows, roles, **rest):
        options = ImportOptions(roles=roles, **rest)
        origin = makers.origin(organisation_id=organisation)
        return import_file(store, text(HEADINGS.split(), *rows), file_name="x", kind=ImportKind.STAFF, origin=origin, options=options)

    return partial(run, roles=KEEPERS_ALONE)


def staff(stored):
    return {row["name"]: row for row in stored(Staff)}


def test_people_come_in_with_their_roles_and_sites(staffed, stored):
    assert counts(staffed(*LIST)) == (2, 0, 0, 0)
    found, sites = staff(stored), {row["name"]: row["id"] for row in stored(Site)}
    bo, cleo = found["Bo Reed"], found["Cleo Tern"]
    assert (bo["role"], bo["site_id"], bo["contact"]) == (Role.KEEPER, sites["Reedmere House"], "bo@marshlight.example")
    assert (cleo["role"], cleo["site_id"], cleo["note"]) == (Role.REGISTRAR, None, "licence holder")


def test_the_same_list_again_changes_nothing(staffed, stored):
    staffed(*LIST)
    before = stored(Staff)

    assert counts(staffed(*reversed(LIST))) == (0, 0, 2, 0)
    assert counts(staffed(["bo  REED", *LIST[0][1:]])) == (0, 0, 1, 0)
    assert stored(Staff) == before


def test_blank_keeps_and_what_differs_is_corrected(staffed, stored):
    staffed(*LIST)

    report = staffed(["Bo Reed", "technician", "Quillback Rescue", "", "first aider"])

    found = staff(stored)["Bo Reed"]
    sites = {row["name"]: row["id"] for row in stored(Site)}
    assert counts(report) == (0, 1, 0, 0)
    assert (found["role"], found["site_id"], found["contact"], found["note"]) == (
        Role.TECHNICIAN, sites["Quillback Rescue"], "bo@marshlight.example", "first aider",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("row", "column", "code"),
    [
        (["", "keeper", "", "", ""], "name", "name-missing"),
        (["Bo Reed", "", "", "", ""], "role", "role-missing"),
        (["Bo Reed", "zookeeper", "", "", ""], "role", "role-unknown"),
        (["Bo Reed", "keeper", "Nowhere", "", ""], "site", "site-unknown"),
        (["B\x1bo", "keeper", "", "", ""], "name", "control-character"),
    ],
)
def test_what_cannot_be_is_refused_by_its_column(staffed, stored, row, column, code):
    assert (codes(staffed(row)), list(staff(stored))) == ([(0, column, code)], ["Ada Marsh"])


def test_a_name_that_two_people_bear_tells_neither(staffed, store):
    with store.transaction(makers.origin()) as unit:
        makers.staff(unit, name="ada marsh")

    assert codes(staffed(["Ada Marsh", "keeper", "", "", ""])) == [(0, "name", "name-ambiguous")]
    assert codes(staffed(LIST[0], ["bo reed", "keeper", "", "", ""])) == [(1, "name", "name-repeated")]


def test_who_left_is_not_registered_again(staffed, store, stored):
    staffed(*LIST)
    with store.transaction(makers.origin()) as unit:
        makers.staff(unit, name="D. Head", role="administrator")
        end_staff(unit, staff(stored)["Bo Reed"]["id"], Ending(reason="moved away"))

    report = staffed(*LIST)

    assert (counts(report), [notice.code for notice in report.notices]) == ((0, 0, 2, 0), ["withdrawn"])


def test_a_role_that_one_may_not_give_is_refused_and_gives_nothing(by_somebody, stored):
    report = by_somebody(*LIST, skip_invalid=True)

    assert (counts(report), codes(report)) == ((1, 0, 0, 1), [(1, "role", "role-not-yours")])
    assert set(staff(stored)) == {"Ada Marsh", "Bo Reed"}


@pytest.mark.parametrize("row", [["Cleo Tern", "keeper", "", "", ""], ["Cleo Tern", "registrar", "Reedmere House", "", ""]])
def test_neither_is_such_a_role_taken_away_nor_moved(staffed, by_somebody, stored, row):
    staffed(*LIST)

    report = by_somebody(row)

    assert (codes(report), staff(stored)["Cleo Tern"]["version"]) == ([(0, "role", "role-not-yours")], 1)
    assert counts(by_somebody(["Cleo Tern", "registrar", "", "cleo@marshlight.example", ""])) == (0, 1, 0, 0)


def test_a_keeper_is_made_no_more_than_one_may_give(staffed, by_somebody, stored):
    staffed(*LIST)

    report = by_somebody(["Bo Reed", "administrator", "", "", ""])

    assert (codes(report), staff(stored)["Bo Reed"]["role"]) == ([(0, "role", "role-not-yours")], Role.KEEPER)
