"""The main job, end to end: an untidy equipment list, by command, to the dates of a night."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

DATA = Path(__file__).parents[2] / "importing" / "data"
SEED = Path(__file__).parents[3] / "seed"
NIGHT = "2026-03-01T12:00:00Z"
EXPECTED = json.loads((DATA / "kit-list.expected.json").read_text(encoding="utf-8"))["items"]


@pytest.fixture
def loaded(terminal, marshlight):
    """Load sites and models, and return what loads the list."""
    terminal.json("import", SEED / "sites.csv", "--kind", "sites")
    terminal.json("import", DATA / "kit-models.json", "--kind", "equipment-models", "--map", SEED / "kit-models.map.toml")

    def load(name: str, *words: str):
        return terminal.json("import", DATA / name, "--kind", "equipment", "--map", SEED / "kit-list.map.toml", "--at", NIGHT, *words)

    return load


def outlook(item) -> dict[str, object]:
    if item["standing"] == "unknown":
        return {"standing": "unknown"}
    return {"due_on": item["due_on"], "binding": item["binding"], "overdue": item["standing"] == "overdue"}


@pytest.mark.parametrize("name", ["kit-list.xlsx", "kit-list.csv"])
def test_a_list_gives_the_dates_that_a_correct_reading_gives(terminal, loaded, name):
    report = loaded(name, "--skip-invalid")
    night = terminal.json("nightly", "--at", NIGHT)

    found = {item["tag"]: outlook(item) for site in night["sites"] for item in site["items"]}
    assert found == {tag: said for tag, said in EXPECTED.items() if "rejected" not in said}
    assert report["refused"] == 1 + sum("rejected" in said for said in EXPECTED.values())


def test_the_same_list_in_its_other_format_changes_nothing(terminal, loaded, marshlight):
    loaded("kit-list.xlsx", "--skip-invalid")

    again = loaded("kit-list.csv", "--skip-invalid")

    assert (again["created"], again["changed"], again["unchanged"]) == (0, 0, 176)
    assert marshlight("verify")[0] == 0


def test_without_leave_to_skip_nothing_is_written_and_the_status_says_so(terminal, loaded, marshlight):
    status, out, _ = marshlight("import", DATA / "kit-list.csv", "--kind", "equipment", "--map", SEED / "kit-list.map.toml")

    assert status == 1
    assert "NOTHING was written" in out
    assert "hours a day above 24" in out
    assert terminal.json("nightly", "--at", NIGHT)["sites"][0]["items"] == []


def test_the_papers_of_a_night_are_written_where_asked(loaded, marshlight, tmp_path):
    loaded("kit-list.csv", "--skip-invalid")

    status, out, _ = marshlight("nightly", "--at", NIGHT, "--papers", tmp_path / "papers")

    names = sorted(path.name for path in (tmp_path / "papers").iterdir())
    assert status == 0
    assert names[:4] == [f"2026-03-01-quillback-rescue-replacement-due.{form}" for form in ("csv", "json", "orders.csv", "pdf")]
    assert len(names) == 8
    assert "Reedmere House, 1 March 2026" in out


def test_the_example_lists_of_animals_are_written_in_their_order_and_once(terminal, marshlight):
    """The lists that the README names, each loaded after those that it refers to."""
    kinds = ("sites", "enclosures", "taxa", "animals", "measurements")

    first, again = [[terminal.json("import", SEED / f"{kind}.csv", "--kind", kind) for kind in kinds] for _ in range(2)]

    assert [(one["created"], one["refused"]) for one in first] == [(2, 0), (2, 0), (5, 0), (3, 0), (2, 0)]
    assert [(one["created"], one["changed"], one["unchanged"]) for one in again] == [(0, 0, 2), (0, 0, 2), (0, 0, 5), (0, 0, 3), (0, 0, 2)]
    assert marshlight("verify")[0] == 0
