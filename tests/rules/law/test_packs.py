"""Whether a rule pack can be taken beside what is on record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.packs import OnRecord, RulePack, faults_in
from domain.rules.law.requirements import Consequence, Exemption, Occasion
from domain.rules.law.spans import Span, Unit
from domain.rules.lives import LifeStage
from domain.rules.permits import Start
from tests.rules.law.stating import DAY, kind, listing, requirement

STATE = Jurisdiction(code="XR", name="Arvenne", level=Level.STATE, zone="UTC", fictional=True)
RULE = requirement("XR-1", listing("Testudo ficta"))


def pack(*requirements, version="1", digest="d1", **said):
    basic = {"name": "fiction", "title": "Invented", "fictional": True, "source": "", "jurisdictions": (STATE,), "kinds": (kind(),)}
    return RulePack(version=version, digest=digest, requirements=requirements, **{**basic, **said})


def faults(*requirements, known=None, **said):
    return [(one.pointer, one.code) for one in faults_in(pack(*requirements, **said), known or OnRecord(), today=DAY)]


def on_record(*requirements, **said):
    return OnRecord().with_pack(pack(*requirements, **said))


def again(*requirements, known, **said):
    return faults(*requirements, known=known, version="2", digest="d2", **said)


def test_a_sound_pack_has_no_fault():
    assert faults(RULE, requirement("XR-2", consequence=Consequence.DOCUMENT, documents=("keeping",))) == []


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ({"jurisdictions": (STATE, STATE)}, ("/jurisdiction/1/code", "repeated")),
        ({"jurisdictions": (STATE, replace(STATE, code="QL"))}, ("/jurisdiction/1/code", "code-unfit")),
        ({"jurisdictions": (replace(STATE, parent_code="XU"),)}, ("/jurisdiction/0/parent", "parent-unfit")),
        ({"jurisdictions": (STATE, replace(STATE, code="PT", fictional=False))}, ("/jurisdiction/1/fictional", "not-together")),
        ({"kinds": (kind(), kind())}, ("/document_kind/1/code", "repeated")),
        ({"kinds": (kind(), replace(kind("other"), jurisdiction="XL"))}, ("/document_kind/1/jurisdiction", "reference-unknown")),
    ],
)
def test_places_and_kinds_of_documents_are_looked_at(said, found):
    assert faults(RULE, **said) == [found]


@pytest.mark.parametrize(
    ("rule", "found"),
    [
        (replace(RULE, jurisdiction="XL"), ("/requirement/1/jurisdiction", "reference-unknown")),
        (replace(RULE, applies_until=date(2019, 1, 1)), ("/requirement/1/applies_until", "date-order")),
        (
            replace(RULE, consequence=Consequence.DOCUMENT, documents=("keeping", "visa")),
            ("/requirement/1/documents/1", "reference-unknown"),
        ),
        (replace(RULE, exemptions=(Exemption(code="a", document="visa"),)), ("/requirement/1/exemption/0/document", "reference-unknown")),
        (
            replace(RULE, consequence=Consequence.EXEMPT, exempts=frozenset(("XR-0", "XR-7"))),
            ("/requirement/1/exempts", "reference-unknown"),
        ),
        (replace(RULE, consequence=Consequence.EXEMPT, exempts=frozenset(("XR-1",))), ("/requirement/1/exempts", "reference-unknown")),
        (replace(RULE, code="XR-0"), ("/requirement/1/version", "repeated")),
    ],
    ids=lambda value: value[0].rpartition("/")[2] if isinstance(value, tuple) else "",
)
def test_what_a_requirement_refers_to_has_to_be_there(rule, found):
    assert found in faults(requirement("XR-0"), rule)


PROVINCE = replace(STATE, code="XR-LOW", level=Level.SUBDIVISION, parent_code="XR")
OTHER_STATE = replace(STATE, code="XL")


@pytest.mark.parametrize(
    ("jurisdiction", "other", "found"),
    [
        ("XR", "XR", []),
        ("XR", "XR-LOW", []),
        ("XR-LOW", "XR-LOW", []),
        ("XR-LOW", "XR", ["of-higher-place"]),
        ("XL", "XR", ["of-higher-place"]),
    ],
)
def test_the_law_of_a_place_exempts_from_that_of_itself_and_of_what_lies_in_it(jurisdiction, other, found):
    rule = requirement("XR-2", jurisdiction=jurisdiction, consequence=Consequence.EXEMPT, exempts=frozenset(("XR-1",)))
    said = faults(replace(RULE, jurisdiction=other), rule, jurisdictions=(STATE, PROVINCE, OTHER_STATE))

    assert said == [("/requirement/1/exempts", one) for one in found]


@pytest.mark.parametrize(
    ("last", "first", "found"),
    [
        (date(2021, 1, 1), date(2021, 1, 1), []),
        (date(2021, 1, 1), date(2021, 1, 2), [("/requirement/1/exempts", "never-together")]),
    ],
)
def test_what_exempts_applies_together_with_some_version_of_what_it_exempts_from(last, first, found):
    rule = requirement("XR-2", applies_from=first, consequence=Consequence.EXEMPT, exempts=frozenset(("XR-1",)))

    assert faults(replace(RULE, applies_until=last), rule) == found
    assert faults(replace(RULE, applies_until=last), rule, version("2", "2022-01-01")) == []


def test_a_pack_of_another_name_exempts_from_nothing_that_is_law_above_its_place():
    rule = requirement("XR-2", jurisdiction="XR-LOW", consequence=Consequence.EXEMPT, exempts=frozenset(("XR-1",)))

    assert faults(rule, known=on_record(RULE), name="bylaws", jurisdictions=(PROVINCE,), kinds=()) == [
        ("/requirement/0/exempts", "of-higher-place")
    ]


def test_a_pack_that_is_not_fictional_has_no_law_of_a_fictional_place():
    known = on_record(RULE)

    assert faults(requirement("P-1"), known=known, name="real", fictional=False, jurisdictions=(), kinds=()) == [
        ("/requirement/0/jurisdiction", "not-together")
    ]


def test_what_others_have_put_on_record_can_be_referred_to_and_not_be_stated_again():
    known = on_record(RULE)
    exempting = requirement("XR-2", consequence=Consequence.EXEMPT, exempts=frozenset(("XR-1",)))
    papers = requirement("XR-3", consequence=Consequence.DOCUMENT, documents=("keeping",))

    assert faults(exempting, papers, known=known, name="other", jurisdictions=(), kinds=()) == []
    assert faults(RULE, known=known, name="other") == [
        ("/jurisdiction/0/code", "of-another-pack"),
        ("/document_kind/0/code", "of-another-pack"),
        ("/requirement/0/code", "of-another-pack"),
    ]


def test_the_very_same_pack_has_no_fault_and_another_text_of_its_version_has():
    known = on_record(RULE)

    assert known.holds(pack(RULE))
    assert faults(RULE, known=known) == []
    assert faults(RULE, known=known, digest="d2") == [("/pack/version", "on-record")]


def test_a_later_pack_may_state_again_add_and_give_a_last_day():
    known = on_record(RULE)
    ended = replace(RULE, applies_until=date(2026, 12, 31))

    assert again(RULE, known=known) == []
    assert again(requirement("XR-9"), known=known) == []
    assert again(ended, replace(RULE, version="2", applies_from=date(2027, 1, 1)), known=known) == []


@pytest.mark.parametrize(
    "change",
    [
        {"title": "Another"},
        {"applies_from": date(2020, 1, 2)},
        {"listed_on": date(2019, 1, 1)},
        {"when": ()},
        {"consequence": Consequence.MARK},
        {"reviewed_on": date(2026, 2, 2)},
        {"applies_until": date(2026, 12, 31), "citation": "s. 2"},
    ],
    ids=lambda change: next(iter(change)),
)
def test_a_version_that_is_on_record_is_not_changed(change):
    known = on_record(replace(RULE, when=(), reviewed_on=date(2026, 1, 10)))
    other = replace(RULE, **{"reviewed_on": date(2026, 1, 10), **change})
    found = faults_in(pack(other, version="2", digest="d2"), known, today=DAY)

    if other == next(iter(known.requirements.values())):
        assert found == []
    else:
        [fault] = found
        assert (fault.pointer, fault.code) == ("/requirement/0/version", "on-record")
        assert "state a new version" in fault.detail
        assert all(name.replace("_", " ") in fault.detail for name in change)


@pytest.mark.parametrize("last", [None, date(2026, 12, 30), date(2027, 1, 1)])
def test_a_last_day_that_is_on_record_is_not_changed(last):
    known = on_record(replace(RULE, applies_until=date(2026, 12, 31)))

    assert again(replace(RULE, applies_until=last), known=known) == [("/requirement/0/version", "on-record")]


def version(name, first, last=None, code="XR-1"):
    return replace(RULE, code=code, version=name, applies_from=date.fromisoformat(first), applies_until=last and date.fromisoformat(last))


@pytest.mark.parametrize(
    ("recorded", "stated", "at"),
    [
        ((), (version("1", "2020-01-01"), version("2", "2021-01-01")), 1),
        ((), (version("2", "2021-01-01"), version("1", "2020-01-01")), 0),
        ((), (version("1", "2020-01-01", "2021-01-01"), version("2", "2021-01-01")), 1),
        ((), (version("1", "2020-01-01"), version("2", "2020-01-01", "2020-02-01")), 1),
        ((version("1", "2020-01-01"),), (version("2", "2021-01-01"),), 0),
        ((version("2", "2021-01-01"),), (version("1", "2020-01-01"),), 0),
        ((version("2", "2021-01-01"),), (version("1", "2020-01-01", "2021-01-01"),), 0),
    ],
)
def test_on_no_day_do_two_versions_apply(recorded, stated, at):
    assert again(*stated, known=on_record(*recorded)) == [(f"/requirement/{at}/applies_from", "overlap")]


@pytest.mark.parametrize(
    ("recorded", "stated"),
    [
        ((), (version("1", "2020-01-01", "2020-12-31"), version("2", "2021-01-01"))),
        ((), (version("1", "2020-01-01"), version("2", "2021-01-01", code="XR-2"))),
        ((version("2", "2021-01-01"),), (version("1", "2020-01-01", "2020-12-31"),)),
        ((version("1", "2020-01-01"),), (version("1", "2020-01-01", "2020-12-31"), version("2", "2021-01-01"))),
    ],
)
def test_versions_that_follow_one_another_are_taken(recorded, stated):
    assert again(*stated, known=on_record(*recorded), correction="It was told late.") == []


VALIDITY = {
    "lasts": Span(12, Unit.MONTHS),
    "starts": Start.INSPECTION,
    "ends_with": frozenset((Occasion.DEATH,)),
    "for_one_consignment": True,
    "counted_stages": frozenset((LifeStage.ADULT,)),
}


@pytest.mark.parametrize("name", VALIDITY)
def test_until_when_documents_are_good_is_not_changed_but_as_a_correction(name):
    known, changed = on_record(RULE), replace(kind(), **{name: VALIDITY[name]})

    assert again(RULE, known=known, kinds=(changed,)) == [(f"/document_kind/0/{name}", "changes-the-past")]
    assert again(RULE, known=known, kinds=(changed,), correction="It was misread.") == []
    assert again(RULE, known=known, kinds=(replace(kind(), title="Another", renewal_lead=Span(10, Unit.DAYS)),)) == []


def test_what_a_jurisdiction_lies_in_is_not_changed_but_as_a_correction():
    union = replace(STATE, code="XU", level=Level.SUPRANATIONAL)
    known, left = on_record(RULE, jurisdictions=(union, replace(STATE, parent_code="XU"))), {"jurisdictions": (STATE, union)}

    assert again(RULE, known=known, **left) == [("/jurisdiction/0/parent", "changes-the-past")]
    assert again(RULE, known=known, **left, correction="It had left before.") == []
    assert again(RULE, known=known, jurisdictions=(replace(STATE, parent_code="XU", name="Renamed"),)) == []


@pytest.mark.parametrize(("days", "found"), [(-1, [("/requirement/0/applies_until", "changes-the-past")]), (0, []), (1, [])])
def test_a_last_day_that_has_gone_by_is_not_given_but_as_a_correction(days, found):
    ended = replace(RULE, applies_until=DAY + timedelta(days=days))

    assert again(ended, known=on_record(RULE)) == found
    assert again(ended, known=on_record(RULE), correction="It was repealed unnoticed.") == []
    assert again(ended, known=on_record(ended)) == []
    assert faults(ended) == []


def test_an_overlap_says_which_version_is_in_the_way_and_when_it_applies():
    (first,) = faults_in(pack(version("1", "2020-01-01"), version("2", "2021-01-01")), OnRecord(), today=DAY)
    (second,) = faults_in(pack(version("1", "2020-01-01", "2021-06-30"), version("2", "2021-01-01")), OnRecord(), today=DAY)

    assert first.detail == "Version 1 of XR-1 applies from 2020-01-01 without a last day: on no day do two versions apply."
    assert second.detail == "Version 1 of XR-1 applies from 2020-01-01 until 2021-06-30: on no day do two versions apply."
