"""What the entries of a journal leave of a record, and what cannot be true of them, on the smallest entries that show it."""

from __future__ import annotations

from uuid import UUID

import pytest

from domain.actions.replay import Erased, Flaw, State, agrees, mapping, personal_columns, replayed, unexplained
from domain.records.journal import HASHED, LET_GO, particular_digest

AN_ID, OTHER_ID = UUID(int=7), UUID(int=8)
ERASED = Erased.ERASED


class Journal:
    """Entries of one record, replayed one after another; each gives the sentences of its flaws."""

    def __init__(self, noun="site"):
        self.noun, self.at, self.states = noun, 0, {}

    def entry(self, version, *, before=None, after=None, action="change", kept=(), subject_id=AN_ID):
        self.at += 1
        row = {"position": self.at, "subject": self.noun, "subject_id": subject_id}
        content = {"action": action, "version": version, "before": before, "after": after}
        flaws = list(replayed(self.states, row, content, kept))
        assert {flaw.position for flaw in flaws} <= {self.at}
        return [flaw.sentence for flaw in flaws]

    @property
    def state(self):
        return self.states[(self.noun, AN_ID)]


def kept(part, field, salt, value):
    return {"part": part, "field": field, "salt": salt, "value": value}


def hashed(salt, value):
    return {HASHED: particular_digest(salt, value)}


def test_entries_leave_the_last_that_was_said_of_each_column():
    journal = Journal()

    said = [
        journal.entry(1, before={}, after={"name": "A", "note": ""}),
        journal.entry(2, before={"note": ""}, after={"note": "wet"}),
        journal.entry(3, before={"note": "wet"}, after={}),
    ]

    assert said == [[], [], []]
    assert journal.state == State({"name": "A", "note": "wet"}, version=3)


def test_records_are_kept_apart_by_kind_and_by_id():
    journal = Journal()
    journal.entry(1, after={"name": "A"})

    assert journal.entry(1, after={"name": "B"}, subject_id=OTHER_ID) == []
    journal.noun = "spare"
    assert journal.entry(1, after={"name": "C"}) == []
    assert {key: state.values for key, state in journal.states.items()} == {
        ("site", AN_ID): {"name": "A"},
        ("site", OTHER_ID): {"name": "B"},
        ("spare", AN_ID): {"name": "C"},
    }


@pytest.mark.parametrize(
    ("version", "left", "sentence"),
    [
        (0, 0, "Entry 2 makes version 0 of a site that was at 1."),
        (1, 1, "Entry 2 makes version 1 of a site that was at 1."),
        (3, 3, "Entry 2 makes version 3 of a site that was at 1."),
        (None, 1, "Entry 2 makes version None of a site that was at 1."),
        ("2", 1, "Entry 2 makes version 2 of a site that was at 1."),
    ],
)
def test_a_version_that_does_not_follow_is_found_and_gone_on_from(version, left, sentence):
    journal = Journal()
    journal.entry(1, after={"name": "A"})

    assert journal.entry(version, after={}) == [sentence]
    assert journal.state.version == left


@pytest.mark.parametrize("before", [{"note": "dry"}, {"name": "A", "note": "dry"}, {"note": "dry", "name": "A"}, {"unheard": 1}])
def test_another_state_before_is_found_once(before):
    journal = Journal()
    journal.entry(1, after={"name": "A", "note": ""})

    assert journal.entry(2, before=before, after={"note": "wet"}) == ["Entry 2 says another state before than the entries before it left."]
    assert journal.state.values == {"name": "A", "note": "wet"}


def test_a_record_that_was_let_go_of_begins_anew():
    journal = Journal()
    journal.entry(1, after={"name": "A"})

    assert journal.entry(2, action=LET_GO, after={"name": "ignored"}) == []
    assert journal.state == State({}, version=0, let_go=True)
    assert journal.entry(1, after={"name": "B"}) == []
    assert journal.state == State({"name": "B"}, version=1)


@pytest.mark.parametrize("value", [None, [], "text", 1])
def test_what_should_be_an_object_and_is_none_counts_as_empty(value):
    assert mapping(value) == {}
    assert Journal().entry(1, before=value, after=value) == []


@pytest.mark.parametrize(
    ("stood", "said", "agree"),
    [(1, 1, True), (1, 2, False), (None, "", False), (ERASED, "x", True), ("x", ERASED, True), (ERASED, ERASED, True), (None, None, True)],
)
def test_two_values_agree_where_they_are_equal_or_one_was_erased(stood, said, agree):
    assert agrees(stood, said) is agree


def test_particulars_take_the_place_of_their_hashes():
    journal = Journal("staff")
    said = journal.entry(
        1,
        before={},
        after={"name": hashed("s", '"Ada"'), "role": "keeper", "note": hashed("t", "null")},
        kept=[kept("after", "name", "s", '"Ada"'), kept("after", "note", "t", "null")],
    )

    assert said == []
    assert journal.state.values == {"name": "Ada", "role": "keeper", "note": None}
    assert journal.entry(
        2,
        before={"name": hashed("u", '"Ada"')},
        after={"name": hashed("v", '"Eve"')},
        kept=[kept("after", "name", "v", '"Eve"'), kept("before", "name", "u", '"Ada"')],
    ) == []  # fmt: skip
    assert journal.state.values["name"] == "Eve"


@pytest.mark.parametrize("said", ["Ada", {"sha256": "x"}, {HASHED: "x", "more": 1}, None])
def test_a_particular_that_is_said_openly_stays_as_it_is(said):
    journal = Journal("staff")

    assert journal.entry(1, after={"name": said}) == []
    assert journal.state.values == {"name": said}


def test_only_particulars_are_looked_up_and_what_merely_looks_like_a_hash_is_none():
    journal = Journal("staff")

    assert journal.entry(1, after={"role": {HASHED: "x"}}) == []
    assert journal.state.values == {"role": {HASHED: "x"}}
    assert "role" not in personal_columns()["staff"]


@pytest.mark.parametrize(
    ("noun", "beside", "sentences"),
    [
        ("staff", [], ["The particulars that entry 1 has the hash of are not kept beside it."]),
        ("staff", [kept("after", "name", "s", '"Eve"')], ["The particulars kept beside entry 1 are not those that it has the hash of."]),
        ("staff", [kept("after", "name", "t", '"Ada"')], ["The particulars kept beside entry 1 are not those that it has the hash of."]),
        ("staff", [kept("after", "name", "s", "Ada")], ["The particulars kept beside entry 1 are not those that it has the hash of."]),
        ("staff", [kept("after", "name", None, '"Ada"')], ["The particulars kept beside entry 1 are not those that it has the hash of."]),
        ("staff", [kept("after", "name", "s", None)], ["The particulars kept beside entry 1 are not those that it has the hash of."]),
        (
            "staff",
            [kept("after", "name", "s", '"Ada"'), kept("after", "note", "s", "1")],
            ["Entry 1 has particulars beside it that it does not speak of."],
        ),
        (
            "staff",
            [kept("before", "name", "s", '"Ada"')],
            [
                "The particulars that entry 1 has the hash of are not kept beside it.",
                "Entry 1 has particulars beside it that it does not speak of.",
            ],
        ),
        ("organisation", [kept("after", "name", "s", '"Ada"')], ["Entry 1 has particulars beside it that it does not speak of."]),
        ("site", [kept("after", "name", "s", '"Ada"')], ["Entry 1 has particulars beside it that it does not speak of."]),
    ],
)
def test_particulars_that_do_not_fit_their_entry_are_found(noun, beside, sentences):
    assert Journal(noun).entry(1, after={"name": hashed("s", '"Ada"')}, kept=beside) == sentences


@pytest.mark.parametrize("openly", ["name", "contact", "note"])
def test_one_particular_that_is_said_openly_does_not_hide_the_others(openly):
    journal, others = Journal("staff"), {"name", "contact", "note"} - {openly}
    said = {openly: "x", **dict.fromkeys(others, hashed("s", '"y"'))}

    assert journal.entry(1, after=said, kept=[kept("after", name, "s", '"y"') for name in others]) == []
    assert journal.state.values == {openly: "x", **dict.fromkeys(others, "y")}


def test_particulars_of_the_state_before_are_held_to_their_hashes_too():
    journal = Journal("staff")
    journal.entry(1, after={"role": "keeper"})

    missing = journal.entry(2, before={"name": hashed("s", '"Ada"')}, after={})
    erased = journal.entry(3, before={"name": hashed("s", '"Ada"')}, after={}, kept=[kept("before", "name", None, None)])

    assert missing == ["The particulars that entry 2 has the hash of are not kept beside it."]
    assert (erased, journal.state.unexplained) == ([], 3)


@pytest.mark.parametrize(("value", "stands"), [('"Eve"', "Eve"), ("Eve", "Eve"), (None, None), ("[1]", [1])])
def test_what_is_kept_beside_an_entry_is_what_the_record_is_held_to(value, stands):
    journal = Journal("staff")
    journal.entry(1, after={"name": hashed("s", '"Ada"')}, kept=[kept("after", "name", "s", value)])

    assert journal.state.values == {"name": stands}


def test_erased_particulars_may_have_been_anything_but_want_an_entry_that_says_so():
    journal = Journal("staff")
    for version in (1, 2):
        beside = [kept("after", "name", None, None)]
        assert journal.entry(version, after={"name": hashed("s", f'"{version}"')}, kept=beside) == []

    assert journal.state.values == {"name": ERASED}
    assert list(unexplained(journal.states)) == [
        Flaw(1, f"Entry 1 has lost particulars of the staff {AN_ID}, and no entry says that they were erased.")
    ]


@pytest.mark.parametrize(("action", "explained"), [("erase_staff", True), (LET_GO, True), ("change", False)])
def test_a_later_entry_explains_what_is_erased(action, explained):
    journal = Journal("staff")
    journal.entry(1, after={"name": hashed("s", '"Ada"')}, kept=[kept("after", "name", None, None)])
    journal.entry(2, action=action, after={})

    assert (list(unexplained(journal.states)) == []) is explained
    assert journal.state.unexplained == (None if explained else 1)


def test_what_is_erased_after_it_was_explained_is_unexplained_again():
    journal = Journal("staff")
    for version, action in ((1, "register"), (2, "erase_staff"), (3, "change")):
        gone = [] if action == "erase_staff" else [kept("after", "name", None, None)]
        journal.entry(version, action=action, after={"name": hashed("s", '"Ada"')} if gone else {"name": "gone"}, kept=gone)

    assert [flaw.position for flaw in unexplained(journal.states)] == [3]
