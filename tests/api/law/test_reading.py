"""From the text of a rule pack to what it states; every refusal says the line and the reason."""

from __future__ import annotations

from datetime import date
from hashlib import sha256

import pytest

from api.law import PackRefused, read_pack
from api.law.reading import LONGEST_PACK
from domain.rules.law.packs import OnRecord
from domain.rules.law.requirements import Entry, Fact, Obligation, Predicate, Relation
from domain.rules.law.spans import Span, Unit, WorkingDays
from domain.rules.measures import MeasureKind
from domain.rules.taxonomy import TaxonRank
from tests.api.law.packs import BASIS, HEAD, INSTRUMENT, STATE, line_of, requirement

TODAY = date(2026, 3, 1)


def flaws(text, known=None):
    with pytest.raises(PackRefused) as refused:
        read_pack(text, file="pack.toml").check(known or OnRecord(), today=TODAY)
    return [str(one) for one in refused.value.flaws]


def read(text):
    one = read_pack(text, file="pack.toml")
    one.check(OnRecord(), today=TODAY)
    return one.pack


def test_a_pack_is_read_as_the_rules_know_it():
    text = BASIS + requirement(
        "XR-1",
        '[[requirement.when]]\nfact = "number"\nover = 12',
        '[[requirement.exemption]]\ncode = "permit"\ndocument = "keeping"\nactivities = ["hold"]\nconditions = ["No breeding"]',
        '[[requirement.exemption.when]]\nfact = "acquired_on"\nbefore = 2022-08-02',
        '[[requirement.obligation]]\ncode = "return"\nduty = "report"\nperiod = "calendar_year"\ndue_month = 1\ndue_day = 31\nlead = "P2W"',
        activities='["hold", "sell"]',
        listed_on="2019-06-01",
        taxa='[{ name = "Boa", rank = "genus", members = ["Boa ficta"], higher = { order = "Squamata" }, applies_from = 2021-01-01 }]',
        with_hybrids="true",
    )
    pack = read(text)

    (rule,), (kind,), (place,) = pack.requirements, pack.kinds, pack.jurisdictions
    assert (pack.name, pack.version, pack.fictional, pack.source) == ("fiction", "1", True, text)
    assert pack.digest == sha256(text.encode()).hexdigest()
    assert (rule.instrument, rule.pack, rule.listed_on, rule.reviewed_on) == (
        "Invented Act (fictional)", "fiction", date(2019, 6, 1), date(2026, 1, 10),
    )  # fmt: skip
    assert rule.selector.any_of == (
        Entry(
            name="Boa",
            rank=TaxonRank.GENUS,
            members=("Boa ficta",),
            higher=((TaxonRank.ORDER, "Squamata"),),
            applies_from=date(2021, 1, 1),
        ),
    )
    assert rule.selector.with_hybrids
    assert rule.when == (Predicate(fact=Fact.NUMBER, relation=Relation.OVER, number=12.0),)
    assert rule.exemptions[0].when == (Predicate(fact=Fact.ACQUIRED_ON, relation=Relation.BEFORE, day=date(2022, 8, 2)),)
    assert (rule.exemptions[0].document, rule.exemptions[0].conditions) == ("keeping", ("No breeding",))
    assert (rule.obligations[0].due_month, rule.obligations[0].due_day, rule.obligations[0].lead) == (1, 31, Span(14, Unit.DAYS))
    assert (kind.lasts, kind.citation) == (Span(24, Unit.MONTHS), "Invented Act, s. 2 (fictional)")
    assert place.working_days == WorkingDays()


@pytest.mark.parametrize(
    ("fact", "number", "unit", "kept"),
    [
        ("straight_carapace_length", "4", "in", 101.6),
        ("straight_carapace_length", "4.25", "in", 107.95),
        ("straight_carapace_length", "10.16", "cm", 101.6),
        ("total_length", "0.3", "m", 300.0),
        ("egg_length", "0.1", "mm", 0.1),
        ("mass", "4", "g", 4.0),
        ("mass", "2.2", "kg", 2200.0),
        ("mass", "4", "lb", 1814.36948),
        ("mass", "1.1", "oz", 31.1844754375),
    ],
)
def test_quantities_are_converted_exactly(fact, number, unit, kept):
    table = f'[[requirement.when]]\nfact = "{fact}"\nunder = {number}\nunit = "{unit}"\nmeasured_within_days = 90'

    (rule,) = read(BASIS + requirement("XR-1", table)).requirements

    assert rule.when == (Predicate(fact=MeasureKind(fact), relation=Relation.UNDER, number=kept, measured_within_days=90),)


@pytest.mark.parametrize(
    ("duty", "time", "span"),
    [
        ("notify", 'occasion = "escape"\nwithin = "PT24H"', Span(24, Unit.HOURS)),
        ("notify", 'occasion = "escape"\nwithin = { working_days = 10 }', Span(10, Unit.WORKING_DAYS)),
        ("retain", 'occasion = "death"\nkeep_for = "P1Y6M"', Span(18, Unit.MONTHS)),
    ],
)
def test_times_are_durations_or_working_days(duty, time, span):
    table = f'[[requirement.obligation]]\ncode = "o"\nduty = "{duty}"\n{time}'

    (rule,) = read(BASIS + requirement("XR-1", table)).requirements

    assert isinstance(rule.obligations[0], Obligation)
    assert rule.obligations[0].within == span


def test_a_place_says_when_its_offices_rest():
    text = HEAD + STATE.replace("fictional = true\n", 'fictional = true\nrest_days = ["friday"]\nholidays = [2026-04-24]\n')

    (place,) = read(text).jurisdictions

    assert place.working_days == WorkingDays(rest=frozenset((4,)), holidays=frozenset((date(2026, 4, 24),)))


def when(keys):
    return BASIS + requirement("XR-1", f"[[requirement.when]]\n{keys}")


def duty(kind, keys):
    return BASIS + requirement("XR-1", f'[[requirement.obligation]]\ncode = "o"\nduty = "{kind}"\noccasion = "bite"\n{keys}')


@pytest.mark.parametrize(
    ("text", "at", "reason"),
    [
        (HEAD + "colour = 1\n", "colour", "colour: There is no such field here."),
        (HEAD.replace("format = 1", "format = 2"), "format", "format: This should be one of 1."),
        (BASIS + requirement(citation=None), "[[requirement]]", "citation: This field is required."),
        (BASIS + requirement(reviewed_on=None), "[[requirement]]", "reviewed_on: This field is required."),
        (BASIS + requirement(citation='""'), "citation", "citation: String should have at least 1 character."),
        (BASIS + requirement(citation='" "'), "citation", "citation: There is no text."),
        (BASIS + requirement(applies_from='"soon"'), "applies_from", "applies_from: This should be a date as YYYY-MM-DD."),
        (BASIS + requirement(applies_from="2026-01-01T00:00:00"), "applies_from", "applies_from: This should be a date as YYYY-MM-DD."),
        (BASIS + requirement(instrument='"deed"'), '"deed"', "instrument: There is no instrument deed."),
        (BASIS + INSTRUMENT.replace("Invented", "Other"), 'code = "act"', "code: act stands here twice."),
        (BASIS + requirement(activities='["hold", "hold"]'), "activities", "activities: Something stands here twice."),
        (BASIS + requirement(activities="[]"), "activities", "activities: Value should have at least 1 item"),
        (
            when('fact = "number"'),
            "fact",
            "fact: Say one of under, at_most, over, at_least, before, on_or_after, is with it, and one only.",
        ),
        (when('fact = "number"\nover = 1\nunder = 5'), "fact", "fact: Say one of under"),
        (when('fact = "girth"\nover = 1'), "fact", "fact: This should be one of number, age_months"),
        (when('fact = "mass"\nover = 1'), "[[requirement.when]]", "unit: Say in which unit: g, kg, oz, lb."),
        (when('fact = "mass"\nover = 1\nunit = "in"'), "unit", "unit: Say in which unit: g, kg, oz, lb."),
        (when('fact = "number"\nover = 1\nunit = "g"'), "unit", "unit: Number has no unit."),
        (when('fact = "number"\nover = 1.5'), "fact", "fact: Number is a whole number."),
        (when('fact = "number"\nover = inf'), "fact", "fact: Say one of under"),
        (when('fact = "number"\nover = -1'), "over", "over: Input should be greater than or equal to 0."),
        (duty("notify", 'within = "24 h"'), "within", "within: This should be a duration in one unit"),
        (duty("notify", "within = { working_days = 0 }"), "within", "within: This should be a duration such as P6M"),
        (duty("retain", 'within = "P1Y"'), "within", "within: Records are kept for a time: say keep_for."),
        (duty("notify", 'keep_for = "P1Y"'), "keep_for", "keep_for: Only records are kept"),
        (HEAD + STATE.replace("Europe/Lisbon", "Lisbon"), "zone", "zone: 'Lisbon' is no IANA zone"),
        (HEAD + STATE.replace("state", "planet"), "level", "level: This should be one of 'supranational', 'state'"),
        (HEAD + STATE + 'rest_days = ["someday"]\n', "someday", "This should be one of 'monday'"),
    ],
    ids=lambda value: value if isinstance(value, str) and len(value) < 60 and "\n" not in value else "",
)
def test_what_no_pack_may_say_is_refused_with_line_and_reason(text, at, reason):
    line = text[: text.rindex(at)].count("\n") + 1

    found = flaws(text)

    assert any(one.startswith(f"pack.toml:{line}: {reason}") for one in found), found


def test_faults_of_meaning_are_said_with_their_lines():
    text = BASIS + requirement("XR-1", listed_on="2021-01-01") + requirement("XR-2", jurisdiction='"XL"', documents='["licence"]')
    dated, placed, papers = (line_of(text, part) for part in ("listed_on", '"XL"', "documents"))

    assert flaws(text) == [
        f"pack.toml:{dated - 2}: applies_from: It cannot apply before it was listed, on 2021-01-01.",
        f"pack.toml:{placed}: jurisdiction: There is no jurisdiction XL.",
        f"pack.toml:{papers}: There is no kind of document licence.",
        f"pack.toml:{papers}: documents: Kinds of documents go with the consequence document, and that with at least one.",
    ]


def test_what_past_answers_rest_on_is_changed_by_a_correction_alone_that_says_why():
    known = read_pack(BASIS, file="first.toml").check(OnRecord(), today=TODAY)
    later = BASIS.replace('version = "1"', 'version = "2"').replace("P24M", "P12M")

    (flaw,) = flaws(later, known)

    assert flaw.startswith(
        f"pack.toml:{line_of(later, 'P12M')}: lasts: On record, keeping says something else here: answers about past days rest on that"
    )
    reason = later.replace("fictional = true", 'correction = "It was misread."\nfictional = true', 1)
    assert read_pack(reason, file="pack.toml").check(known, today=TODAY).kinds["keeping"].lasts == Span(12, Unit.MONTHS)
    assert "correction: " in flaws(later.replace("fictional = true", 'correction = " "\nfictional = true', 1), known)[0]


@pytest.mark.parametrize(
    ("text", "line", "reason"),
    [
        ("[pack]\nname = \n", 2, "This is not TOML: Invalid value."),
        ("[pack]\nname = 1\nname = 2\n", 3, "This is not TOML: Cannot overwrite a value."),
        ('[pack]\nname = """\n', 3, "This is not TOML: "),
        (f"a = {'[' * 5000}{']' * 5000}", 1, "This is nested too deeply."),
        ("#" * (LONGEST_PACK + 1), 1, "A pack may have 2000000 characters at most."),
        ("", 1, "pack: This field is required."),
        (f"{HEAD}x = 1\ny = {'9' * 5000}\n", HEAD.count("\n") + 2, "This number has too many digits."),
        (f"{HEAD}y = 0x{'f' * 5000}\n", HEAD.count("\n") + 1, "This number has too many digits."),
        (f"{HEAD}y = 0b{'1' * 20000}\n", HEAD.count("\n") + 1, "This number has too many digits."),
    ],
    ids=["no value", "a key twice", "no end", "too deep", "too long", "empty", "digits", "hexadecimal", "binary"],
)
def test_what_is_no_pack_at_all_is_refused(text, line, reason):
    (found,) = flaws(text)

    assert found.startswith(f"pack.toml:{line}: {reason}")


def test_a_return_with_a_field_that_is_not_known_is_refused_with_its_line():
    duty = '[[requirement.obligation]]\ncode = "return"\nduty = "report"\nperiod = "calendar_year"\ndue_month = 1\ndue_day = 31\n'
    text = BASIS + requirement("XR-1", duty + 'fields = [\n  "taxon",\n  "shoe_size",\n]')

    (flaw,) = flaws(text)

    assert flaw.startswith(f"pack.toml:{line_of(text, 'shoe_size')}: No return has a field shoe_size; it may have taxon, ")
