"""What a night shows at the terminal, whose night it is, and its papers."""

from __future__ import annotations

import pytest

from tests import makers

NIGHT = ("nightly", "--at", "2026-03-01T12:00:00Z")


@pytest.fixture
def reedmere(records):
    """Return what adds items to a site, by tag and date of installation; the model lasts twelve months."""

    def add(**installed):
        with records() as unit:
            of, at = makers.model(unit, life_months=12), makers.site(unit)
            for tag, installed_on in installed.items():
                makers.equipment(unit, of, at, tag=tag, installed_on=installed_on)

    return add


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_the_papers_of_a_night_that_ran_before_can_be_had_again(marshlight, reedmere, tmp_path):
    reedmere(A="2025-03-01")
    marshlight(*NIGHT, "--papers", tmp_path / "first")

    out = marshlight(*NIGHT, "--papers", tmp_path / "again")[1]

    assert "nothing added" in out
    assert len(contents(tmp_path / "again")) == 4
    assert contents(tmp_path / "again") == contents(tmp_path / "first")


def test_the_papers_had_again_are_those_of_the_latest_run(marshlight, reedmere, records, tmp_path):
    reedmere(A="2025-03-01")
    marshlight(*NIGHT, "--papers", tmp_path / "first")
    with records() as unit:
        makers.equipment(unit, makers.model(unit, name="Other", life_months=1), makers.site(unit, name="Quillback Rescue"), tag="B")
        makers.behind(unit, "UPDATE equipment SET installed_on = '2025-02-01'")
    marshlight(*NIGHT, "--papers", tmp_path / "second")

    marshlight(*NIGHT, "--papers", tmp_path / "again")

    assert contents(tmp_path / "again") == contents(tmp_path / "second")
    assert contents(tmp_path / "again") != contents(tmp_path / "first")


def test_a_night_does_not_run_where_its_papers_cannot_be_written(marshlight, reedmere, tmp_path):
    reedmere(A="2025-03-01")
    (tmp_path / "papers").touch()

    status, out, err = marshlight(*NIGHT, "--papers", tmp_path / "papers")

    assert (status, out, "there is a file of that name" in err) == (2, "", True)
    assert "nothing added" not in marshlight(*NIGHT)[1]


def test_the_worst_stands_first_and_the_unknown_last_with_what_to_find_out(marshlight, reedmere):
    reedmere(A=None, B="2025-03-10", C="2024-06-01", D="2025-03-01")

    rows = [line.split() for line in marshlight(*NIGHT)[1].splitlines()[2:]]

    assert [row[0] for row in rows] == ["C", "D", "B", "A"]
    assert "unknown" in rows[-1]
    assert " ".join(rows[-1]).endswith("find out: date of installation")


def test_an_unknown_item_with_a_limit_is_shown_with_it(marshlight, records):
    with records() as unit:
        makers.equipment(unit, makers.model(unit, life_months=12, life_hours=9000), makers.site(unit), tag="A", installed_on="2025-03-10")

    row = marshlight(*NIGHT)[1].splitlines()[-1]

    assert row.split()[0] == "A"
    assert row.rstrip().endswith("unknown  due by 10 March 2026 at the latest; find out: hours a day")


def test_a_long_list_says_how_to_see_the_rest(marshlight, reedmere):
    reedmere(**{f"A{i:02}": "2025-03-01" for i in range(14)})

    out = marshlight(*NIGHT)[1]

    assert "A11" in out
    assert "A12" not in out
    assert out.splitlines()[-1].strip() == "and 2 more on the list: nightly --papers FOLDER, or nightly --json, shows all"


def test_a_site_among_several_organisations_needs_the_organisation(terminal, marshlight, reedmere):
    reedmere(A="2025-03-01")
    terminal.json("organisation", "create", "Saltings Aquarium")

    status, _, err = marshlight(*NIGHT, "--site", "Reedmere House")

    assert (status, "say which with --organisation" in err) == (2, True)
    assert marshlight(*NIGHT, "--site", "Reedmere House", "--organisation", "Marshlight Trust")[0] == 0


def test_an_organisation_without_sites_is_said(marshlight):
    assert marshlight(*NIGHT, "--organisation", "Marshlight Trust")[:2] == (
        0,
        "Marshlight Trust: no sites yet. Load them with: reedbed import FILE --kind sites\n",
    )


def test_what_became_of_the_reminders_is_said_where_anything_did(marshlight, reedmere, records):
    reedmere(A="2025-03-10")
    with records() as unit:
        makers.permit(unit, valid_until="2026-03-20")

    first, again = marshlight(*NIGHT)[1].splitlines(), marshlight(*NIGHT)[1]

    assert first[0].endswith("0 unknown; reminders: 1 added")
    assert first[-1] == "Marshlight Trust, of no site; reminders: 1 added"
    assert "reminders" not in again
    assert "reminders" not in marshlight(*NIGHT, "--site", "Reedmere House")[1]


def test_the_reminders_are_counted_in_json_by_site_and_for_the_whole(terminal, marshlight, reedmere, records):
    reedmere(A="2025-03-10")
    with records() as unit:
        makers.permit(unit, valid_until="2026-03-20")

    found = terminal.json(*NIGHT)
    nothing = {"added": 0, "moved": 0, "opened": 0, "woken": 0, "closed": 0}

    assert [one["reminders"] for one in found["sites"]] == [{**nothing, "added": 1}]
    assert [(one["state"], one["error"], one["reminders"]) for one in found["organisations"]] == [("done", None, {**nothing, "added": 1})]
    replayed = terminal.json("nightly", "--at", "2026-02-01T12:00:00Z")
    assert [one["reminders"] for one in (*replayed["sites"], *replayed["organisations"])] == [None, None]
    assert terminal.json(*NIGHT, "--site", "Reedmere House")["organisations"] == []


def test_a_failure_of_the_whole_is_said_and_is_the_exit_status(marshlight, reedmere, records):
    reedmere(A="2025-12-01")
    with records() as unit:
        makers.competence(unit, makers.staff(unit), expires_on="2026-04-01")
        makers.behind(unit, "UPDATE competence SET expires_on = '0001-01-10'")

    status, out, _ = marshlight(*NIGHT)

    assert (status, "Marshlight Trust: FAILED: OverflowError" in out) == (1, True)
