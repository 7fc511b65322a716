"""What a rule pack may say, table by table and key by key. Its TOML is validated against this, and its JSON Schema made from it.

What stands here is the notation: which keys there are, of which form, and in which units. Whether what is said makes sense is asked of the
rules.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Any, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, PlainValidator, StringConstraints, WithJsonSchema, model_validator

from domain.actions.imports.measurements import LENGTHS, MASSES
from domain.errors import Unfit
from domain.records.columns import Day, Name, Zone
from domain.records.jurisdictions import JurisdictionCode
from domain.records.requirements import LawCode, PackName
from domain.records.stated import misstated
from domain.rules import permits
from domain.rules.law import jurisdictions, requirements
from domain.rules.law.requirements import Activity, Consequence, Duty, Fact, Occasion, Period, Relation
from domain.rules.law.returns import FIELDS
from domain.rules.law.spans import Span, Unit, WorkingDays, span_of
from domain.rules.lives import LifeStage, Origin
from domain.rules.measures import MeasureKind
from domain.rules.taxonomy import TaxonRank

T = TypeVar("T")

FACTS = tuple(one.value for one in (*Fact, *MeasureKind))
UNITS: Mapping[str, Mapping[str, Decimal]] = {kind: MASSES if kind is MeasureKind.MASS else LENGTHS for kind in MeasureKind}
MOST_WORKING_DAYS = 1000
_COUNTED = frozenset((Fact.NUMBER, Fact.AGE_MONTHS, Fact.PUBLIC_DAYS))


def _span(said: object) -> Span:
    if isinstance(said, str):
        return span_of(said)
    number = said.get("working_days") if isinstance(said, dict) and len(said) == 1 else None
    if not isinstance(number, int) or isinstance(number, bool) or not 1 <= number <= MOST_WORKING_DAYS:
        raise Unfit(
            f"this should be a duration such as P6M or PT24H, or {{ working_days = 10 }}, at most {MOST_WORKING_DAYS}",
            code="duration-malformed",
        )
    return Span(number, Unit.WORKING_DAYS)


def _known_fact(word: str) -> str:
    if word not in FACTS:
        raise Unfit(f"this should be one of {', '.join(FACTS)}", code="not-one-of")
    return word


def _distinct(said: list[T]) -> list[T]:
    if any(one in said[:place] for place, one in enumerate(said)):
        raise Unfit("something stands here twice", code="repeated")
    return said


SPAN_SCHEMA = {
    "description": "A duration of ISO 8601 in one unit, or a number of working days of the jurisdiction.",
    "oneOf": [
        {"type": "string", "pattern": r"^P([0-9]{1,3}Y([0-9]{1,2}M)?|[0-9]{1,4}M|[0-9]{1,4}W|[0-9]{1,5}D|T[0-9]{1,5}H)$"},
        {
            "type": "object",
            "properties": {"working_days": {"type": "integer", "minimum": 1, "maximum": MOST_WORKING_DAYS}},
            "required": ["working_days"],
            "additionalProperties": False,
        },
    ],
}
Time = Annotated[Span, PlainValidator(_span), WithJsonSchema(SPAN_SCHEMA)]
FactName = Annotated[str, AfterValidator(_known_fact), WithJsonSchema({"type": "string", "enum": list(FACTS)})]
Word = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_-]*$", max_length=40)]
FieldName = Annotated[Word, WithJsonSchema({"type": "string", "enum": list(FIELDS)})]
Distinct = Annotated[list[T], AfterValidator(_distinct), Field(min_length=1, json_schema_extra={"uniqueItems": True})]
Amount = Annotated[float, Field(ge=0, le=1_000_000_000)]
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class Pack(_Table):
    """The pack itself. A later version of it bears the same name. What is fictional is so as a whole, and says so in its title.

    ``correction`` says why what is on record was wrong: only with it may a later version change until when documents of a kind are good,
    what a jurisdiction lies in, or give a requirement a last day that has gone by, as past answers change with these.
    """

    format: Literal[1] = Field(description="The version of this notation.")
    name: PackName
    version: LawCode
    title: Name
    fictional: bool = False
    correction: Name | None = None


class Jurisdiction(_Table):
    """A place with law of its own. What it lies in is named by its code; offices rest on Saturdays and Sundays where nothing is said."""

    code: JurisdictionCode
    name: Name
    level: jurisdictions.Level
    parent: JurisdictionCode | None = None
    fictional: bool = False
    zone: Zone
    rest_days: Annotated[list[Weekday], AfterValidator(_distinct), Field(max_length=6, json_schema_extra={"uniqueItems": True})] = [
        "saturday",
        "sunday",
    ]
    holidays: list[Day] = []

    def made(self) -> jurisdictions.Jurisdiction:
        """Return it as the rules know it."""
        rest = frozenset(jurisdictions.WEEKDAYS.index(day) for day in self.rest_days)
        return jurisdictions.Jurisdiction(
            code=self.code,
            name=self.name,
            level=self.level,
            zone=self.zone,
            parent_code=self.parent,
            fictional=self.fictional,
            working_days=WorkingDays(rest=rest, holidays=frozenset(self.holidays)),
        )


class Instrument(_Table):
    """An act, a regulation, a code: what requirements stand in. They name it by its code."""

    code: LawCode
    title: Name


class DocumentKind(_Table):
    """A kind of permit, licence, certificate or proof, and until when such documents are good.

    ``lasts`` runs from the day of issue, or from an inspection where ``starts`` says so; without it the document's own last day counts.
    ``ends_with`` are events that end it. Animals of other stages than ``counted_stages`` do not count against its numbers.
    """

    code: LawCode
    jurisdiction: JurisdictionCode
    title: Name
    citation: Name
    lasts: Time | None = None
    starts: permits.Start = permits.Start.ISSUE
    ends_with: Distinct[Occasion] | None = None
    for_one_consignment: bool = False
    counted_stages: Distinct[LifeStage] | None = None
    renewal_lead: Time | None = None

    def made(self) -> permits.DocumentKind:
        """Return it as the rules know it."""
        return permits.DocumentKind(
            code=self.code,
            jurisdiction=self.jurisdiction,
            title=self.title,
            lasts=self.lasts,
            starts=self.starts,
            ends_with=frozenset(self.ends_with or ()),
            for_one_consignment=self.for_one_consignment,
            counted_stages=frozenset(self.counted_stages or ()),
            renewal_lead=self.renewal_lead,
            citation=self.citation,
        )


class Predicate(_Table):
    """That a fact stands as one further key says. Sizes and masses bear their unit; words are said as a list.

    ``measured_within_days`` goes with every size and mass: how old a measurement may be that can be outgrown.
    """

    fact: FactName
    under: Amount | None = None
    at_most: Amount | None = None
    over: Amount | None = None
    at_least: Amount | None = None
    before: Day | None = None
    on_or_after: Day | None = None
    is_: Distinct[Word] | None = Field(default=None, alias="is")
    unit: Literal["g", "kg", "oz", "lb", "mm", "cm", "m", "in"] | None = None
    measured_within_days: Annotated[int, Field(ge=1, le=36_500)] | None = None

    @model_validator(mode="after")
    def _says_one_thing(self) -> Predicate:
        said = self._said()
        if len(said) != 1:
            raise misstated("fact", f"say one of {', '.join(Relation)} with it, and one only", code="required")
        units = UNITS.get(self.fact, {})
        if (self.unit is not None) is not bool(units) or (units and self.unit not in units):
            raise misstated("unit", f"say in which unit: {', '.join(units)}" if units else f"{self.fact} has no unit")
        if self.fact in _COUNTED and any(isinstance(value, float) and not value.is_integer() for value in said.values()):
            raise misstated("fact", f"{self.fact} is a whole number", code="not-whole-number")
        return self

    def _said(self) -> Mapping[Relation, Any]:
        values = {one: getattr(self, "is_" if one is Relation.IS else one.value) for one in Relation}
        return {relation: value for relation, value in values.items() if value is not None}

    def made(self) -> requirements.Predicate:
        """Return it as the rules know it: sizes in millimetres and masses in grams, converted exactly."""
        ((relation, value),) = self._said().items()
        how: dict[str, Any] = {"fact": self.fact, "relation": relation, "measured_within_days": self.measured_within_days}
        if isinstance(value, list):
            return requirements.Predicate(**how, words=frozenset(value))
        if not isinstance(value, float):
            return requirements.Predicate(**how, day=value)
        factor = UNITS[self.fact][self.unit] if self.unit else Decimal(1)
        return requirements.Predicate(**how, number=float(Decimal(repr(value)) * factor))


class Taxon(_Table):
    """A taxon with all that lies in it, as a list names it.

    ``members`` are names that the list is read to cover as well; ``higher`` names, by rank, what it lies in, so that animals that are known
    no further are told apart.
    """

    name: Name
    rank: TaxonRank
    members: Distinct[Name] | None = None
    higher: dict[TaxonRank, Name] = {}

    def made(self) -> requirements.Entry:
        """Return it as the rules know it."""
        return requirements.Entry(name=self.name, rank=self.rank, members=tuple(self.members or ()), higher=tuple(self.higher.items()))


class ListedTaxon(Taxon):
    """A taxon that a requirement is about. ``applies_from`` is its day where the list delays it beyond the requirement's own."""

    applies_from: Day | None = None

    def made(self) -> requirements.Entry:
        """Return it as the rules know it."""
        return requirements.Entry(
            name=self.name,
            rank=self.rank,
            members=tuple(self.members or ()),
            higher=tuple(self.higher.items()),
            applies_from=self.applies_from,
        )


class Exemption(_Table):
    """When a requirement does not bind: where all of ``when`` holds, until a last day; with ``document`` only under one of that kind."""

    code: LawCode
    when: list[Predicate] = []
    document: LawCode | None = None
    activities: Distinct[Activity] | None = None
    until: Day | None = None
    conditions: Distinct[Name] | None = None

    def made(self) -> requirements.Exemption:
        """Return it as the rules know it."""
        return requirements.Exemption(
            code=self.code,
            when=tuple(one.made() for one in self.when),
            document=self.document,
            activities=frozenset(self.activities or ()),
            until=self.until,
            conditions=tuple(self.conditions or ()),
        )


class Obligation(_Table):
    """What is to be done, and by when: ``within`` a time of an occasion, on a day of a month after each period, or every so often.

    Months are counted from the end of the period, the first being 1; a day that a month does not have is its last. Records are kept for
    ``keep_for`` from an occasion. ``lead`` is how long before it is to be told. ``fields`` are what a return has to hold.
    """

    code: LawCode
    duty: Duty
    occasion: Occasion | None = None
    within: Time | None = None
    keep_for: Time | None = None
    period: Period | None = None
    due_month: Annotated[int, Field(ge=1, le=12)] | None = None
    due_day: Annotated[int, Field(ge=1, le=31)] | None = None
    every: Time | None = None
    lead: Time | None = None
    fields: Distinct[FieldName] | None = None

    @model_validator(mode="after")
    def _keeps_or_does(self) -> Obligation:
        if self.duty is Duty.RETAIN and self.within is not None:
            raise misstated("within", "records are kept for a time: say keep_for")
        if self.duty is not Duty.RETAIN and self.keep_for is not None:
            raise misstated("keep_for", "only records are kept: the duty should be retain")
        return self

    def made(self) -> requirements.Obligation:
        """Return it as the rules know it."""
        return requirements.Obligation(
            code=self.code,
            duty=self.duty,
            occasion=self.occasion,
            within=self.keep_for or self.within,
            period=self.period,
            due_month=self.due_month,
            due_day=self.due_day,
            every=self.every,
            lead=self.lead,
            fields=tuple(self.fields or ()),
        )


class Requirement(_Table):
    """A requirement in one version.

    It may be listed before it applies; its last day, where it has one, belongs to it. Without ``taxa`` it is about all animals, without
    ``activities`` about all that is done with them. ``documents`` are the kinds of which one is needed; ``exempts`` are the codes of the
    requirements that do not bind where this one applies. ``reviewed_on`` is when somebody last compared it with the law.
    """

    code: LawCode
    version: LawCode
    jurisdiction: JurisdictionCode
    instrument: LawCode
    title: Name
    citation: Name
    consequence: Consequence
    listed_on: Day | None = None
    applies_from: Day
    applies_until: Day | None = None
    reviewed_on: Day
    activities: Distinct[Activity] | None = None
    taxa: list[ListedTaxon] = []
    but_not: list[Taxon] = []
    life_stages: Distinct[LifeStage] | None = None
    origins: Distinct[Origin] | None = None
    with_hybrids: bool = False
    when: list[Predicate] = []
    documents: Distinct[LawCode] | None = None
    exempts: Distinct[LawCode] | None = None
    exemption: list[Exemption] = []
    obligation: list[Obligation] = []

    def made(self, *, pack: str, instrument: str) -> requirements.Requirement:
        """Return it as the rules know it; ``pack`` is the name of the pack, ``instrument`` the title of what it stands in."""
        return requirements.Requirement(
            code=self.code,
            version=self.version,
            pack=pack,
            jurisdiction=self.jurisdiction,
            instrument=instrument,
            title=self.title,
            citation=self.citation,
            consequence=self.consequence,
            listed_on=self.listed_on,
            applies_from=self.applies_from,
            applies_until=self.applies_until,
            reviewed_on=self.reviewed_on,
            selector=requirements.Selector(
                any_of=tuple(one.made() for one in self.taxa),
                but_not=tuple(one.made() for one in self.but_not),
                life_stages=frozenset(self.life_stages or ()),
                origins=frozenset(self.origins or ()),
                with_hybrids=self.with_hybrids,
            ),
            activities=frozenset(self.activities or ()),
            when=tuple(one.made() for one in self.when),
            documents=tuple(self.documents or ()),
            exempts=frozenset(self.exempts or ()),
            exemptions=tuple(one.made() for one in self.exemption),
            obligations=tuple(one.made() for one in self.obligation),
        )


class RulePackFile(_Table):
    """A rule pack for Reedbed: the law of some jurisdictions as dated data, in TOML.

    It is no legal advice. Local codes, the issuing authority and licensed practice come first.
    """

    pack: Pack
    jurisdiction: list[Jurisdiction] = []
    instrument: list[Instrument] = []
    document_kind: list[DocumentKind] = []
    requirement: list[Requirement] = []
