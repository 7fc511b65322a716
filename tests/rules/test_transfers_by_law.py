"""What the law of an end, and the enclosure on arrival, leave open of the animals of a transfer."""

from __future__ import annotations

import pytest

from domain.rules.compliance import Answer, Coverage, Standing
from domain.rules.fitness import Bearing as Speaking
from domain.rules.fitness import Fitness, Reason, ReasonCode
from domain.rules.fitness import Outcome as Suits
from domain.rules.law.decision import Bearing, Decision, Finding, Outcome
from domain.rules.law.requirements import Consequence, Duty, Obligation, Occasion
from domain.rules.transfers import ItemCode, OpenItem, law_items, objections, quarantine_items
from tests.rules.law.stating import animal, identified, requirement

RULE = "An invented rule (s. 1 (fictional))."
TITLES = {"keeping": "Permit to keep", "health": "Health certificate"}
TOLD_OF = requirement("XR-9", consequence=Consequence.NOTIFY)


def finding(bearing, *, rule=None, **said):
    return Finding(requirement=rule or requirement(), bearing=bearing, **said)


def coverage(*findings, tag="A-1", answers=(), missing=frozenset()):
    decision = Decision(outcome=Outcome.PROHIBITED, findings=findings, missing=missing)
    return Coverage(subject=animal(tag), standing=Standing.PROHIBITED, decision=decision, answers=answers)


def without_document(one, kinds):
    return ItemCode.NUMBER_EXCEEDED, f"{one.subject.tag} is beyond the number of {'/'.join(kinds)}."


def items(*coverages, told=None):
    found = objections(coverages, told=told or {}, why=without_document, where="at the receiver (hold)", titles=TITLES)
    return list(law_items(found))


def about(code, sentence, *tags, field="animals", of=None):
    animal_ids = tuple(map(identified, tags or ("A-1",)))
    return OpenItem(code=code, sentence=sentence, field=field, animal_ids=animal_ids, finding=of, turns=True)


@pytest.mark.parametrize(
    ("of", "code", "sentence", "field"),
    [
        (finding(Bearing.PROHIBITS), ItemCode.PROHIBITED, f"A-1: at the receiver (hold) this is prohibited. {RULE}", "animals"),
        (
            finding(Bearing.CANNOT_DECIDE, missing=frozenset(("sex", "origin"))),
            ItemCode.CANNOT_DECIDE,
            f"A-1: at the receiver (hold) it cannot be decided; find out: origin, sex. {RULE}",
            "animals",
        ),
        (finding(Bearing.NEEDS_MARK), ItemCode.MARK_MISSING, f"A-1: a mark is needed and none is on record. {RULE}", "animals"),
        (
            finding(Bearing.OBLIGES, rule=TOLD_OF),
            ItemCode.NOT_TOLD,
            f"A-1: at the receiver (hold) this has to be told beforehand. {RULE} Add the notification to the papers.",
            "papers",
        ),
    ],
)
def test_what_the_law_has_against_an_animal_is_open_with_its_source(of, code, sentence, field):
    assert items(coverage(of)) == [about(code, sentence, field=field, of=of)]


@pytest.mark.parametrize("bearing", [Bearing.NEEDS_DOCUMENT, Bearing.EXEMPTED, Bearing.NOT_YET])
def test_what_is_settled_elsewhere_is_not_open(bearing):
    assert items(coverage(finding(bearing))) == []


def test_everything_that_the_law_has_against_an_animal_is_open():
    found = items(coverage(finding(Bearing.EXEMPTED), finding(Bearing.PROHIBITS), finding(Bearing.NEEDS_MARK)))

    assert [one.code for one in found] == [ItemCode.PROHIBITED, ItemCode.MARK_MISSING]


def obliging(*occasions, duty=Duty.NOTIFY, consequence=Consequence.NOTIFY):
    owed = tuple(Obligation(code=str(number), duty=duty, occasion=one) for number, one in enumerate(occasions))
    return requirement("XR-9", consequence=consequence, obligations=owed)


@pytest.mark.parametrize(
    ("rule", "asks"),
    [
        (TOLD_OF, True),
        (obliging(None), True),
        (obliging(Occasion.DEPARTURE), True),
        (obliging(Occasion.ESCAPE, Occasion.DEPARTURE), True),
        (obliging(Occasion.ESCAPE, Occasion.BITE), False),
        (obliging(Occasion.ARRIVAL), False),
        (obliging(Occasion.ESCAPE, duty=Duty.REPORT), True),
        (obliging(None, consequence=Consequence.RECORD), False),
    ],
)
def test_only_what_has_to_be_told_of_a_move_is_asked_for(rule, asks):
    assert [one.code for one in items(coverage(finding(Bearing.OBLIGES, rule=rule)))] == [ItemCode.NOT_TOLD] * asks


def test_who_was_told_of_some_animals_is_to_be_told_of_the_others():
    of = finding(Bearing.OBLIGES, rule=TOLD_OF)
    both = [coverage(of, tag=tag) for tag in ("A-1", "A-2")]

    assert [one.animal_ids for one in items(*both, told={"XR-9": frozenset((identified("A-1"),))})] == [(identified("A-2"),)]
    assert items(*both, told={"XR-9": frozenset(map(identified, ("A-1", "A-2")))}) == []
    assert [len(one.animal_ids) for one in items(*both, told={"XR-8": frozenset((identified("A-1"),))})] == [2]


def test_what_is_not_known_of_the_place_is_open_beside_what_the_findings_say():
    of = finding(Bearing.CANNOT_DECIDE, missing=frozenset(("sex",)))

    found = items(coverage(of, missing=frozenset(("sex", "jurisdiction", "address"))))

    assert found[1:] == [
        about(ItemCode.CANNOT_DECIDE, "A-1: at the receiver (hold) it cannot be decided; find out: address, jurisdiction.")
    ]
    assert len(items(coverage(of, missing=frozenset(("sex",))))) == 1


def answer(*kinds, uncovered=1):
    return Answer(kinds=kinds, shares=(), uncovered=uncovered, lapses_on=None)


def test_a_document_that_is_missing_is_called_by_its_title_with_why_and_by_which_rule():
    of = finding(Bearing.NEEDS_DOCUMENT, documents=("keeping", "other"))

    found = items(coverage(finding(Bearing.NEEDS_DOCUMENT, documents=("health",)), of, answers=(answer("keeping", "other"),)))

    because = "A-1 is beyond the number of keeping/other."
    sentence = f"A-1: at the receiver (hold) a document is needed, Permit to keep or other; {because} {RULE}"
    assert found == [about(ItemCode.NUMBER_EXCEEDED, sentence, field="papers", of=of)]


def test_a_document_that_no_rule_is_known_for_is_asked_for_without():
    sentence = "A-1: at the receiver (hold) a document is needed, Health certificate; A-1 is beyond the number of health."

    assert items(coverage(answers=(answer("keeping", uncovered=0), answer("health")))) == [
        about(ItemCode.NUMBER_EXCEEDED, sentence, field="papers")
    ]


def test_what_is_alike_is_told_once_with_all_animals_and_the_first_six_by_their_tags():
    of, tags = finding(Bearing.PROHIBITS), [f"A-{number}" for number in range(1, 9)]
    told = f"at the receiver (hold) this is prohibited. {RULE}"

    def named(count):
        return items(*(coverage(of, tag=tag) for tag in tags[:count]))

    assert named(6) == [about(ItemCode.PROHIBITED, f"A-1, A-2, A-3, A-4, A-5, A-6: {told}", *tags[:6], of=of)]
    assert [one.sentence for one in named(7)] == [f"A-1, A-2, A-3, A-4, A-5, A-6 and 1 more: {told}"]
    assert named(8) == [about(ItemCode.PROHIBITED, f"A-1, A-2, A-3, A-4, A-5, A-6 and 2 more: {told}", *tags, of=of)]


def test_one_rule_that_is_met_by_two_acts_is_open_once_and_two_rules_are_two():
    once, other = finding(Bearing.PROHIBITS), finding(Bearing.PROHIBITS, rule=requirement("XR-2", title="Another"))
    move = objections([coverage(once)], told={}, why=without_document, where="at the receiver (move)", titles=TITLES)
    hold = objections([coverage(once, other)], told={}, why=without_document, where="at the receiver (hold)", titles=TITLES)

    found = list(law_items([*move, *hold]))

    assert [one.sentence.partition(" this")[0] for one in found] == ["A-1: at the receiver (move)", "A-1: at the receiver (hold)"]
    assert [one.finding for one in found] == [once, other]


def suits(*reasons):
    return Fitness(Suits.DOES_NOT_FIT, tuple(Reason(code, bearing, f"Because of {code}.") for code, bearing in reasons))


FLOOR, CLOSURE = (ReasonCode.FLOOR_TOO_SMALL, Speaking.AGAINST), (ReasonCode.CLOSURE_TOO_WEAK, Speaking.AGAINST)
UNKNOWN = [(code, Speaking.MISSING) for code in (ReasonCode.HAZARD_UNKNOWN, ReasonCode.CONTAINMENT_UNKNOWN, ReasonCode.CLOSURE_UNKNOWN)]
ALONE = (ReasonCode.NOBODY_COMPETENT, Speaking.AGAINST)


@pytest.mark.parametrize(
    ("reason", "accepted", "code"),
    [
        (FLOOR, False, ItemCode.QUARANTINE_UNSUITED),
        (FLOOR, True, None),
        (CLOSURE, False, ItemCode.QUARANTINE_UNSUITED),
        (CLOSURE, True, ItemCode.QUARANTINE_UNSUITED),
        (ALONE, True, ItemCode.QUARANTINE_UNSUITED),
        *((one, accepted, ItemCode.QUARANTINE_UNDECIDED) for one in UNKNOWN for accepted in (False, True)),
        ((ReasonCode.FLOOR_UNKNOWN, Speaking.MISSING), False, None),
        ((ReasonCode.CLOSURE_TOO_WEAK, Speaking.REMARK), False, None),
    ],
)
def test_a_reason_to_accept_an_enclosure_settles_everything_but_what_guards_people(reason, accepted, code):
    found = [one.code for one in quarantine_items(suits(reason), [animal()], accepted=accepted)]

    assert found == ([] if code is None else [code])


def test_why_an_enclosure_does_not_suit_is_said_for_all_animals_at_once():
    unknown = (ReasonCode.HAZARD_UNKNOWN, Speaking.MISSING)
    ignored = (ReasonCode.SIZE_UNKNOWN, Speaking.MISSING)

    found = list(quarantine_items(suits(FLOOR, ignored, unknown), [animal("A-1"), animal("A-2")], accepted=False))

    assert found == [
        OpenItem(
            code=ItemCode.QUARANTINE_UNSUITED,
            sentence="A-1, A-2: the enclosure on arrival does not suit. Because of floor-too-small.",
            field="quarantine_enclosure_id",
            animal_ids=(identified("A-1"), identified("A-2")),
        ),
        OpenItem(
            code=ItemCode.QUARANTINE_UNDECIDED,
            sentence="A-1, A-2: whether the enclosure is safe is not known. Because of hazard-unknown.",
            field="quarantine_enclosure_id",
            animal_ids=(identified("A-1"), identified("A-2")),
        ),
    ]
