"""What the transfer file says, as figures, sentences and rows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

from domain.rules.transfers import CARED_DAYS, LOOKED_BACK_DAYS
from reports import words
from reports.animal_record.lives import hatched
from reports.fonts import Face
from reports.labels.sheet import Targets
from reports.notes import Notes
from reports.page import Figure
from reports.tables import Phrase, Row
from reports.transfer_file.sheet import (
    End,
    GoingAnimal,
    GoingPaper,
    Licence,
    MarkToRead,
    Output,
    TransferFileSheet,
)

NOT_ON_RECORD: Final = "not on record"
_blank = "\u00a0"
BASIS_WORDS: Final = {"move": "between sites of one organisation"}
_bands: Final = (
    ("UV index", "uvi_low", "uvi_high", ""),
    ("air", "air_low_c", "air_high_c", "\u00a0°C"),
    ("basking spot", "basking_low_c", "basking_high_c", "\u00a0°C"),
    ("water", "water_low_c", "water_high_c", "\u00a0°C"),
    ("humidity", "humidity_low_pct", "humidity_high_pct", "\u00a0%"),
)


def under_title(sheet: TransferFileSheet) -> list[str]:
    """Return the lines under the title: who goes, from where to where, and when."""
    number = sum(one.count for one in sheet.animals)
    kinds = Counter(one.scientific_name for one in sheet.animals)
    of_what = f" of {words.plural(len(kinds), 'species', many='species')}" if kinds else ""
    who = f"{words.plural(number, 'animal')}{of_what} from {_place(sheet.sender)} to {_place(sheet.receiver)}"
    when = f"{_leaving(sheet)}, {_arriving(sheet)}"
    return [who, f"{when} · {BASIS_WORDS.get(sheet.basis, words.spoken(sheet.basis))} · {words.spoken(sheet.stage)}"]


def _leaving(sheet: TransferFileSheet) -> str:
    leave = "leave" if sheet.dispatched_at is None else "left"
    return f"{leave} {words.long_date(sheet.dispatch_on)}"


def _arriving(sheet: TransferFileSheet) -> str:
    if sheet.arrived_at is not None:
        return f"arrived {words.long_date(words.day_of(sheet.arrived_at, zone=sheet.zone))}"
    arrive = "arrive" if sheet.dispatched_at is None else "expected"
    return f"{arrive} {words.long_date(sheet.arrive_on)}"


def _place(end: End) -> str:
    return end.site or end.name


def figures(sheet: TransferFileSheet) -> tuple[Figure, ...]:
    """Return the key figures."""
    return (
        Figure(sum(one.count for one in sheet.animals), "animals"),
        Figure(len(sheet.papers), "papers that go along"),
        _open_figure(sheet),
        Figure(_limits(sheet), "limits of the journey", alarm=sheet.carriage.least_c is None or sheet.carriage.most_c is None),
    )


def _open_figure(sheet: TransferFileSheet) -> Figure:
    if sheet.open_items is None:
        return Figure(words.spoken(sheet.stage), "how far it has come")
    return Figure(len(sheet.open_items), "to be settled first", alarm=bool(sheet.open_items))


def _limits(sheet: TransferFileSheet) -> str:
    least, most = sheet.carriage.least_c, sheet.carriage.most_c
    if least is None and most is None:
        return NOT_ON_RECORD
    low, high = ("?" if one is None else f"{one:g}" for one in (least, most))
    return f"{low} to {high} °C"


def open_heading(sheet: TransferFileSheet) -> str:
    """Return the heading of what is open, or of how it stands where nothing is looked at any more."""
    if sheet.open_items is None:
        return "How it stands"
    return "Open before the animals may leave" + (f" · {len(sheet.open_items)}" if sheet.open_items else "")


def open_sentences(sheet: TransferFileSheet) -> Iterator[str]:
    """Yield what has to be settled, or that nothing has; then by which days and papers it can be."""
    if sheet.open_items is None:
        yield _how_it_stands(sheet)
        return
    if not sheet.open_items:
        needed = words.short_date(sheet.through_on)
        yield f"Nothing is open, as far as is on record; papers have to be good through {needed}. It is decided once more at dispatch."
    for one in sheet.open_items:
        yield f"ACT NOW · {one.sentence}"
    if sheet.open_items and sheet.earliest is not None:
        leaves, arrives = words.long_date(sheet.earliest.dispatch_on), words.long_date(sheet.earliest.arrive_on)
        same = (sheet.earliest.dispatch_on, sheet.earliest.arrive_on) == (sheet.dispatch_on, sheet.arrive_on)
        yield (
            "Other days would not change that."
            if same
            else f"Earliest lawful days with the papers on record: leave {leaves}, arrive {arrives}."
        )
    elif sheet.open_items:
        yield "Other days alone do not settle that within twelve months; the items say what does."
    yield from sheet.renewals


def _how_it_stands(sheet: TransferFileSheet) -> str:
    if sheet.stage == "called_off":
        return "This transfer was called off. Nobody leaves with this file."
    left = f"left {words.clock(sheet.dispatched_at, zone=sheet.zone)}" if sheet.dispatched_at else "have left"
    arrived = f" and arrived {words.clock(sheet.arrived_at, zone=sheet.zone)}" if sheet.arrived_at else ""
    days = f"As long on their way as planned, they are expected on {words.long_date(sheet.arrive_on)}" if sheet.dispatched_at else ""
    good = f"{days}; papers have to be good through {words.long_date(sheet.through_on)}." if days and not arrived else ""
    return f"The animals {left}{arrived}: this file says what they left with, and nothing is looked at any more. {good}".rstrip()


# ------------------------------------------------------------------------------------------------------------- the ends


def end_rows(sheet: TransferFileSheet) -> list[Row]:
    """Return the rows of who sends, receives and carries."""
    carriage = sheet.carriage
    licences = (carriage.authorisation,) if carriage.authorisation is not None else ()
    carrier = Row(
        {
            "role": "carrier",
            "who": _known(carriage.carrier),
            "contact": (*_phrases(carriage.contact), Phrase("driver on the day:", tone="muted")),
            "licence": _licences(licences),
        },
        act_now=carriage.carrier is None or any(one.lapses for one in licences),
    )
    return [_end_row("sender", sheet.sender), _end_row("receiver", sheet.receiver), carrier]


def _end_row(role: str, end: End) -> Row:
    names = [end.name, *([end.site] if end.site else []), *([end.address] if end.address else [])]
    law = (Phrase(f"law of {end.jurisdiction}", tone="muted"),) if end.jurisdiction else ()
    who = (Phrase(names[0], Face.BOLD), *(Phrase(one) for one in names[1:]), *law)
    contact = (Phrase(end.contact),) if end.contact else (Phrase("reachable on the day:", tone="muted"),)
    return Row(
        {"role": role, "who": who, "contact": contact, "licence": _licences(end.licences)}, act_now=any(one.lapses for one in end.licences)
    )


def _licences(licences: Sequence[Licence]) -> tuple[Phrase, ...]:
    """Return licences one below the other, a blank line between them."""
    told = [_licence(one) for one in licences] or [(Phrase(NOT_ON_RECORD),)]
    return tuple(phrase for place, one in enumerate(told) for phrase in ((Phrase(_blank), *one) if place else one))


def _licence(one: Licence) -> tuple[Phrase, ...]:
    title = (Phrase(one.title),) if one.title else ()
    scan = (Phrase("scan (SHA-256)", tone="muted"), Phrase(words.in_eights(one.sha256), Face.MONO)) if one.sha256 else ()
    until = "end not on record" if one.until_on is None else f"until {words.short_date(one.until_on)}"
    ends = Phrase(f"{until} · LAPSES TOO EARLY", tone="alarm") if one.lapses else Phrase(until, tone="muted")
    return *title, Phrase(one.number or f"number {NOT_ON_RECORD}"), ends, *scan


# ---------------------------------------------------------------------------------------------------------- the animals


def animal_rows(sheet: TransferFileSheet) -> list[Row]:
    """Return the rows of the animals, with boxes to tick on loading and on arrival."""
    return [_animal_row(one) for one in sheet.animals]


def _animal_row(one: GoingAnimal) -> Row:
    return Row(
        {
            "number": str(one.number),
            "tag": (Phrase(one.tag, Face.BOLD), *((Phrase(one.name),) if one.name else ())),
            "taxon": _taxon(one),
            "what": _what(one),
            "mark": _marks(one),
            "mass": _last_mass(one),
        }
    )


def _taxon(one: GoingAnimal) -> tuple[Phrase, ...]:
    face = Face.OBLIQUE if words.is_italic(one.rank) else Face.REGULAR
    authority = (Phrase(one.name_authorship, tone="muted"),) if one.name_authorship else ()
    common = (Phrase(one.common_name),) if one.common_name else ()
    printed = (Phrase(f"on its papers: {one.name_as_printed}"),) if one.name_as_printed else ()
    hazard = (Phrase(words.spoken(one.hazard).upper(), Face.BOLD),) if one.hazard in ("venomous", "dangerous") else ()
    return (Phrase(one.scientific_name, face), *authority, *common, *printed, *hazard)


def _what(one: GoingAnimal) -> tuple[Phrase, ...]:
    sex = f"sex {NOT_ON_RECORD}" if one.sex == "unknown" else words.spoken(one.sex)
    stage = () if one.life_stage == "unknown" else (Phrase(words.spoken(one.life_stage)),)
    age = "" if one.hatched_on is None else hatched(one.hatched_on, precision=one.hatched_precision)
    number = () if one.grouping == "individual" else (Phrase(f"{'about ' if one.estimated else ''}{one.count} animals", Face.BOLD),)
    return (*number, Phrase(sex), *stage, Phrase(f"hatched or born {age}" if age else f"age {NOT_ON_RECORD}"))


def _marks(one: GoingAnimal) -> tuple[Phrase, ...]:
    if not one.marks:
        return (Phrase("NO MARK ON RECORD", Face.BOLD), Phrase("compare with the papers by eye"))
    return tuple(phrase for mark in one.marks for phrase in _mark(mark)) + _read(one)


def _mark(mark: MarkToRead) -> tuple[Phrase, ...]:
    where = f", {mark.body_site}" if mark.body_site else ""
    scheme = f" ({mark.scheme})" if mark.scheme else ""
    code = (Phrase(mark.code, Face.MONO),) if mark.code else ()
    return Phrase(f"{words.spoken(mark.kind)}{where}{scheme}", tone="muted"), *code


def _read(one: GoingAnimal) -> tuple[Phrase, ...]:
    told = (("read on loading", one.mark_loaded), ("read on arrival", one.mark_arrived))
    return tuple(Phrase(f"{when}: {code}") for when, code in told if code)


def _last_mass(one: GoingAnimal) -> tuple[Phrase, ...]:
    if not one.weights:
        return (Phrase("none"),)
    last = one.weights[-1]
    return Phrase(mass(last.mass_g)), Phrase(words.short_date(last.measured_on), tone="muted")


def mass(grams: float) -> str:
    """Return a mass as it is read off a scale [g]."""
    return f"{words.number(grams)}\u00a0g"


# ----------------------------------------------------------------------------------------------------------- the papers


def paper_rows(sheet: TransferFileSheet, notes: Notes) -> list[Row]:
    """Return the rows of the papers that go along, those that lapse too early first."""
    tags = {one.number: one.tag for one in sheet.animals}
    return [_paper_row(one, tags, notes) for one in sorted(sheet.papers, key=lambda one: not one.lapses)]


def _paper_row(one: GoingPaper, tags: dict[int, str], notes: Notes) -> Row:
    title = (Phrase(one.title, Face.BOLD), *((Phrase(one.kind_title),) if one.kind_title else ()))
    authority = (Phrase(one.authority, tone="muted"),) if one.authority else ()
    covers = ", ".join(tags[number] for number in one.covers) if one.covers else "all"
    return Row(
        {
            "title": (*title, *notes.cell(one.note, about=f"{one.title} {one.number}")),
            "number": (Phrase(one.number), *authority),
            "covers": covers,
            "valid": _validity(one),
            "fingerprint": (Phrase(words.in_eights(one.sha256), Face.MONO),) if one.sha256 else "no scan attached",
            "there": "",
        },
        act_now=one.lapses,
    )


def _validity(one: GoingPaper) -> tuple[Phrase, ...]:
    rests = () if one.inspected_on is None else (Phrase(f"inspected {words.short_date(one.inspected_on)}", tone="muted"),)
    issued = Phrase(f"issued {words.short_date(one.issued_on)}", tone="muted")
    if one.lapses and one.good_until is None:
        return Phrase("NO INSPECTION ON RECORD", Face.BOLD, "alarm"), issued
    until = "end not on record" if one.good_until is None else f"until {words.short_date(one.good_until)}"
    lapses = (Phrase("LAPSES TOO EARLY", Face.BOLD, "alarm"),) if one.lapses else ()
    return Phrase(until), *lapses, issued, *rests


# ------------------------------------------------------------------------------------------------------------- the care


def journey_sentences(sheet: TransferFileSheet) -> Iterator[str]:
    """Yield how the animals are carried, and what follows on arrival."""
    carriage = sheet.carriage
    yield f"Container: {carriage.container or NOT_ON_RECORD}."
    limits = _limits(sheet)
    held = "outside these limits the journey waits, or turns back" if limits != NOT_ON_RECORD else "ask before you start"
    yield f"Temperature in the box: {limits}; {held}. Write it down at every hand-over."
    if sheet.care:
        yield f"On the way: {sheet.care}"
    yield _quarantine(sheet)
    yield f"For the first {CARED_DAYS} days: offer what stands below, change nothing else, and write down every day what is eaten and seen."
    if sheet.due_back_on is not None:
        split = f" Offspring: {sheet.offspring_split}." if sheet.offspring_split else ""
        yield f"On loan: due back {words.long_date(sheet.due_back_on)}.{split}"
    if sheet.report_after_days:
        *first, last = (str(day) for day in sheet.report_after_days)
        days = f"{', '.join(first)} and {last}" if first else last
        yield f"The receiver reports to the sender after {days} days."
    if sheet.note:
        yield f"Note: {sheet.note}"


def _quarantine(sheet: TransferFileSheet) -> str:
    days = (
        "for as long as the veterinarian says"
        if sheet.quarantine_days is None
        else f"for {words.plural(sheet.quarantine_days, 'day')} at the least"
    )
    where = f" in {sheet.quarantine_place}" if sheet.quarantine_place else ""
    return f"Kept apart on arrival{where} {days}, with tools of its own and seen to last; a veterinarian releases."


def care_rows(sheet: TransferFileSheet) -> list[Row]:
    """Return what the animals need, those with the same needs in one row."""
    alike: dict[tuple[object, ...], list[GoingAnimal]] = {}
    for one in sheet.animals:
        alike.setdefault((one.scientific_name, one.rank, one.target, one.target_source), []).append(one)
    return [_care_row(those) for those in alike.values()]


def _care_row(those: Sequence[GoingAnimal]) -> Row:
    first = those[0]
    return Row(
        {
            "who": (*_taxon(first)[:1], Phrase(", ".join(one.tag for one in those), tone="muted")),
            "needs": _needs(first.target),
            "source": first.target_source or NOT_ON_RECORD,
            "lived": tuple(dict.fromkeys(phrase for one in those for phrase in _lived(one))) or NOT_ON_RECORD,
        }
    )


def _lived(one: GoingAnimal) -> tuple[Phrase, ...]:
    units = dict.fromkeys(each.unit for each in one.measured_there)
    measured = (_measured([each for each in one.measured_there if each.unit == unit]) for unit in units)
    return (*_phrases(one.lived_in), *(Phrase(text, tone="muted") for text in measured))


def _measured(readings: Sequence[Output]) -> str:
    """Return what was measured in one unit: the reading with how it was taken, or of several the lowest and the highest."""
    last = max(readings, key=lambda each: each.measured_on)
    unit, day = f" {last.unit}" if last.unit else "", words.short_date(last.measured_on)
    if len(readings) == 1:
        return f"{words.number(last.value)}{unit}, {day}{f' ({last.method})' if last.method else ''}"
    low, high = (words.number(pick(each.value for each in readings)) for pick in (min, max))
    return f"{low} to {high}{unit}, {len(readings)} readings, the last {day}"


def _needs(target: Targets | None) -> tuple[Phrase, ...]:
    if target is None:
        return (Phrase("No targets on record: ask the sender before the journey.", Face.BOLD),)
    said = [_band(target, *band) for band in _bands]
    water = [f"water: {target.water}"] if target.water else []
    return tuple(Phrase(one) for one in [*(one for one in said if one), *water]) or (Phrase(NOT_ON_RECORD),)


def _band(target: Targets, name: str, low: str, high: str, unit: str) -> str:
    least, most = getattr(target, low), getattr(target, high)
    if least is None and most is None:
        return ""
    if least is None or most is None:
        return f"{name} {'from' if most is None else 'up to'} {least if most is None else most:g}{unit}"
    return f"{name} {least:g} to {most:g}{unit}"


def history_rows(sheet: TransferFileSheet, notes: Notes) -> list[Row]:
    """Return where each animal comes from, what it weighed, and what happened to it lately."""
    return [_history_row(one, notes) for one in sheet.animals]


def _history_row(one: GoingAnimal, notes: Notes) -> Row:
    parents = [f"{parent.role}: {parent.who}{_named(parent.scientific_name)}, {parent.certainty}" for parent in one.parents]
    lately = "; ".join(f"{words.short_date(each.on)}: {each.what}" for each in one.history)
    return Row(
        {
            "tag": one.tag,
            "origin": _phrases(words.spoken(one.origin), one.locality, one.acquired, one.held, *parents),
            "masses": tuple(Phrase(f"{words.short_date(each.measured_on)}: {mass(each.mass_g)}") for each in one.weights) or "none",
            "lately": (*notes.cell(lately, about=f"{one.tag}, last {LOOKED_BACK_DAYS} days"), *notes.cell(one.note, about=one.tag))
            or "nothing",
        }
    )


def _named(scientific_name: str | None) -> str:
    return f" ({scientific_name})" if scientific_name else ""


def arrival_rows(sheet: TransferFileSheet) -> list[Row]:
    """Return the lines to write down on how each animal arrived; what was put on record stands in them."""
    return [Row({"tag": one.tag, **_counted(one), "condition": _arrived(one), "differs": one.discrepancy or ""}) for one in sheet.animals]


def are_counted(sheet: TransferFileSheet) -> bool:
    """Return whether there are groups, of which the living and the dead are counted on arrival."""
    return any(one.grouping != "individual" for one in sheet.animals)


def _counted(one: GoingAnimal) -> dict[str, str]:
    if one.arrived_number is None:
        return {}
    dead = one.arrived_dead or 0
    return {"alive": str(one.arrived_number - dead), "dead": str(dead)}


def _arrived(one: GoingAnimal) -> str:
    if one.arrived is False:
        return "did not arrive"
    dead = "dead" if one.grouping == "individual" and one.arrived_dead else ""
    return ", ".join(filter(None, (dead, one.condition)))


def _known(text: str | None) -> tuple[Phrase, ...]:
    return (Phrase(text, Face.BOLD),) if text else (Phrase(NOT_ON_RECORD, Face.BOLD),)


def _phrases(*texts: str | None) -> tuple[Phrase, ...]:
    return tuple(Phrase(text) for text in texts if text)
