"""What is printed of an animal record: its facts in words, section by section."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Final, NamedTuple

from domain.rules.lives import ADDING, BETWEEN_RECORDS, COUNTING, GONE, TAKING, EventKind, Grouping, LifeStage, Sex, Status
from domain.rules.measures import MeasureKind
from reports import words
from reports.animal_record.lives import Days, age, ended_on, gaps, hatched, kept
from reports.animal_record.sheet import (
    AnimalRecordSheet,
    DocumentLine,
    EventLine,
    HoldingLine,
    MarkLine,
    MeasurementLine,
    NameLine,
    OffspringLine,
    ParentLine,
    PlacementLine,
    StateLine,
)
from reports.fonts import Face
from reports.notes import Notes
from reports.page import Figure
from reports.tables import Cell, Phrase, Row

NOT_ON_RECORD: Final = "not on record"
TO_DATE: Final = "to date"
GAP: Final = "gap"  # a cell that no column shows; its row is no entry

EVENT_WORDS: Final[Mapping[EventKind, str]] = {
    EventKind.ACQUIRED: "acquired",
    EventKind.BORN: "born here",
    EventKind.HATCHED: "hatched here",
    EventKind.LAID: "laid here",
    EventKind.SPLIT_FROM: "taken out of",
    EventKind.RETURNED: "returned",
    EventKind.JOINED_BY: "joined by",
    EventKind.DIED: "died",
    EventKind.DEPARTED: "left the collection",
    EventKind.SPLIT_OFF: "split off to",
    EventKind.HATCHED_OUT: "hatched out as",
    EventKind.JOINED: "went into",
    EventKind.COUNTED: "counted",
    EventKind.ESTIMATED: "estimated",
    EventKind.ESCAPED: "escaped",
    EventKind.FOUND: "found again",
    EventKind.SENT_AWAY: "sent away",
    EventKind.CAME_BACK: "came back",
    EventKind.SEXED: "sex determined",
    EventKind.STAGED: "life stage noted",
}
"""What happened, as the paper says it; where animals went between two records, the other record's tag follows."""

STATUS_WORDS: Final[Mapping[Status, str]] = {
    Status.PRESENT: "kept here",
    Status.AWAY: "away",
    Status.MISSING: "missing",
    Status.DEAD: "dead",
    Status.DEPARTED: "left",
    Status.MERGED: "in other records",
}


_surest_first = ("certain", "probable", "possible")


class Fact(NamedTuple):
    """A fact with what it is; each phrase of it begins a line of its own."""

    label: str
    phrases: tuple[Phrase, ...]


def title(sheet: AnimalRecordSheet) -> str:
    """Return the tag, and what the animal is called."""
    return f"{sheet.tag} · {sheet.name}" if sheet.name else sheet.tag


def taxon_lines(sheet: AnimalRecordSheet) -> tuple[tuple[Phrase, ...], ...]:
    """Return the lines under the title, each of phrases that follow one another: taxon, what is told of it, and its papers' name."""
    stands = " · ".join((_grouping(sheet), *_sex_and_stage(sheet)))
    told = (*_phrases(sheet.common_name), Phrase(stands, tone="muted"))
    authors = (Phrase(sheet.name_authorship, tone="muted"),) if sheet.name_authorship else ()
    found = [(_taxon(sheet.scientific_name, sheet.rank), *authors), told]
    if sheet.name_as_printed and sheet.name_as_printed != sheet.scientific_name:
        found.append((Phrase("on its papers:", tone="muted"), _taxon(sheet.name_as_printed, sheet.rank)))
    return tuple(found)


def _taxon(name: str, rank: str) -> Phrase:
    return Phrase(name, Face.OBLIQUE if words.is_italic(rank) else Face.REGULAR)


def _grouping(sheet: AnimalRecordSheet) -> str:
    return "counted group" if sheet.grouping is Grouping.GROUP else "individual"


def _sex_and_stage(sheet: AnimalRecordSheet) -> tuple[str, str]:
    last = _last_state(sheet)
    sex = last.sex if last else Sex.UNKNOWN
    stage = last.life_stage if last else LifeStage.UNKNOWN
    return (
        "sex not known" if sex is Sex.UNKNOWN else f"{'mixed sex' if sex is Sex.MIXED else sex.value}",
        "life stage not known" if stage is LifeStage.UNKNOWN else stage.value,
    )


def _last_state(sheet: AnimalRecordSheet) -> StateLine | None:
    return max(sheet.states, key=lambda state: state.from_on, default=None)


def _came_on(sheet: AnimalRecordSheet) -> date | None:
    return sheet.events[0].happened_on if sheet.events else min((state.from_on for state in sheet.states), default=None)


def figures(sheet: AnimalRecordSheet) -> tuple[Figure, ...]:
    """Return the key figures: of a group its number first, then age, latest mass, place and status."""
    number = (_number_figure(sheet),) if sheet.grouping is Grouping.GROUP else ()
    return (*number, _age_figure(sheet), _mass_figure(sheet), _place_figure(sheet), _status_figure(sheet))


def _number_figure(sheet: AnimalRecordSheet) -> Figure:
    last = _last_state(sheet)
    eggs = last is not None and last.life_stage is LifeStage.EGG
    what = words.plural(sheet.count, "egg" if eggs else "animal").split(" ", 1)[1]
    counts = [event for event in sheet.events if event.kind in COUNTING]
    how = f", {EVENT_WORDS[counts[-1].kind]} {words.short_date(counts[-1].happened_on)}" if counts else ""
    return Figure(f"{'about ' if sheet.estimated else ''}{words.number(sheet.count)}", what + how)


def _age_figure(sheet: AnimalRecordSheet) -> Figure:
    end = ended_on(sheet)
    of_hatching = age(sheet.hatched_on, precision=sheet.hatched_precision, on=end or sheet.today) if sheet.hatched_on else ""
    if sheet.hatched_on is not None and of_hatching:
        at_the_end = f" on {words.short_date(end)}" if end else ""
        return Figure(of_hatching, f"old{at_the_end}, hatched or born {hatched(sheet.hatched_on, precision=sheet.hatched_precision)}")
    came_on = _came_on(sheet)
    if came_on is None:
        return Figure(NOT_ON_RECORD, "age, and since when it is here")
    return Figure(words.short_date(came_on), "is when it came; age not on record")


def _mass_figure(sheet: AnimalRecordSheet) -> Figure:
    weighings = [one for one in measured(sheet) if one.kind is MeasureKind.MASS]
    if not weighings:
        return Figure(NOT_ON_RECORD, "mass")
    last = weighings[-1]
    mean = f"mean mass of {last.of_number}, " if last.of_number else "mass, "
    return Figure(_value(last), f"{mean}{words.short_date(last.measured_on)}")


def _place_figure(sheet: AnimalRecordSheet) -> Figure:
    last = max(sheet.placements, key=lambda place: place.from_on, default=None)
    status = _status(sheet)
    if last is None:
        return Figure(NOT_ON_RECORD, "place")
    if status is Status.PRESENT and last.until_on is None:
        return Figure(last.enclosure, f"{last.site}, since {words.short_date(last.from_on)}")
    if status is Status.PRESENT:
        return Figure(NOT_ON_RECORD, f"place since {words.short_date(last.until_on or last.from_on)}")
    return Figure(last.enclosure, f"was its last place here, {last.site}")


def _status(sheet: AnimalRecordSheet) -> Status | None:
    last = _last_state(sheet)
    return last.status if last else None


def _status_figure(sheet: AnimalRecordSheet) -> Figure:
    status = _status(sheet)
    if status is None:
        return Figure(NOT_ON_RECORD, "status")
    since = _since(sheet, status)
    return Figure(STATUS_WORDS[status], f"status since {words.short_date(since)}", alarm=status is Status.MISSING)


def _since(sheet: AnimalRecordSheet, status: Status) -> date:
    since = sheet.today
    for state in sorted(sheet.states, key=lambda state: state.from_on, reverse=True):
        if state.status is not status:
            break
        since = state.from_on
    return since


def origin_facts(sheet: AnimalRecordSheet, notes: Notes) -> tuple[Fact, ...]:
    """Return where it comes from and how it came into the collection, with what is not on record of it."""
    first = sheet.events[0] if sheet.events and sheet.events[0].kind in ADDING else None
    if first is None:
        came = (Phrase(NOT_ON_RECORD, Face.BOLD),)
    else:
        noun = "egg" if first.kind is EventKind.LAID else "animal"
        number = f", {words.plural(first.number, noun)}" if sheet.grouping is Grouping.GROUP else ""
        came = (Phrase(f"{_what(first)} on {words.short_date(first.happened_on)}{number}"),)
    hatching = hatched(sheet.hatched_on, precision=sheet.hatched_precision) if sheet.hatched_on else None
    as_printed = _taxon(sheet.name_as_printed, sheet.rank) if sheet.name_as_printed else Phrase(NOT_ON_RECORD, Face.BOLD)
    facts = [
        Fact("origin", _known(words.spoken(sheet.origin) if sheet.origin and sheet.origin != "unknown" else None)),
        Fact("locality", _known(sheet.locality)),
        Fact("hatched or born", _known(hatching)),
        Fact("came here", came),
        Fact("on what ground", _known(words.spoken(first.basis) if first and first.basis and first.basis != "unknown" else None)),
        Fact("from", _known(first.party if first else None)),
        Fact("paper about it", _known(first.reference if first else None)),
        Fact("name on its papers", (as_printed,)),
        Fact("hazard class", _known(words.spoken(sheet.hazard.value) if sheet.hazard else None)),
    ]
    if sheet.note:
        facts.append(Fact("note", notes.cell(sheet.note, about=f"About {sheet.tag}")))
    return tuple(facts)


def name_rows(sheet: AnimalRecordSheet, notes: Notes) -> list[Row]:
    """Return the rows of what it was called, by day."""
    return [_name_row(line, notes) for line in sorted(sheet.names, key=lambda line: line.from_on)]


def _name_row(line: NameLine, notes: Notes) -> Row:
    note = notes.cell(line.note, about=f"Name {line.name}, {words.short_date(line.from_on)}")
    return Row(_days(line.from_on, line.until_on) | {"name": (Phrase(line.name, Face.BOLD),), "remarks": note})


def mark_rows(sheet: AnimalRecordSheet, notes: Notes) -> list[Row]:
    """Return the rows of its marks by day, on one day the primary mark first."""
    lines = sorted(sheet.marks, key=lambda line: (line.from_on, not line.is_primary, line.kind, line.code or ""))
    return [_mark_row(line, notes) for line in lines]


def _mark_row(line: MarkLine, notes: Notes) -> Row:
    kind = words.spoken(line.kind)
    reading = f"code: {words.spoken(line.reading)}" if line.reading else ""
    seen = f"view: {line.view}" if line.view else ""
    scale = f"bar in the picture: {words.number(line.scale_mm)}\u00a0mm" if line.scale_mm is not None else ""
    how = _phrases(
        _labelled("where", line.body_site),
        _labelled("scheme", line.scheme),
        seen,
        scale,
        reading,
        _labelled("reader", line.reader),
        _labelled("applied by", line.applied_by),
    )
    primary = (Phrase("primary mark", Face.OBLIQUE),) if line.is_primary else ()
    code = (Phrase(line.code, Face.MONO),) if line.code else ()
    until = (Phrase(_until(line.until_on)), *_phrases(line.until_reason))
    note = notes.cell(line.note, about=f"Mark {line.code or kind}, {words.short_date(line.from_on)}")
    cells = {"mark": (Phrase(kind, Face.BOLD), *code, *primary), "how": how, "remarks": note}
    return Row(_days(line.from_on, line.until_on) | cells | {"until": until})


def state_rows(sheet: AnimalRecordSheet) -> list[Row]:
    """Return the rows of sex, life stage and status, by day."""
    return [
        Row(
            _days(state.from_on, state.until_on)
            | {
                "sex": NOT_ON_RECORD if state.sex is Sex.UNKNOWN else state.sex.value,
                "stage": NOT_ON_RECORD if state.life_stage is LifeStage.UNKNOWN else state.life_stage.value,
                "status": (Phrase(STATUS_WORDS[state.status], Face.BOLD),),
            }
        )
        for state in sorted(sheet.states, key=lambda state: state.from_on)
    ]


def placement_rows(sheet: AnimalRecordSheet, notes: Notes) -> list[Row]:
    """Return the rows of its placements by day; days of its keeping without one are rows that say so."""
    rows = [(place.from_on, _placement_row(place, notes)) for place in sorted(sheet.placements, key=lambda place: place.from_on)]
    return _with_gaps(rows, gaps(kept(sheet), sheet.placements), column="where", today=sheet.today)


def _placement_row(line: PlacementLine, notes: Notes) -> Row:
    why = f"put there although it does not suit: {line.override_reason}" if line.override_reason else ""
    note = notes.cell(line.note, about=f"Placement in {line.enclosure}, {words.short_date(line.from_on)}")
    where = (Phrase(line.enclosure, Face.BOLD), Phrase(line.site))
    return Row(_days(line.from_on, line.until_on) | {"where": where, "remarks": (*_phrases(why), *note)})


def holding_rows(sheet: AnimalRecordSheet, notes: Notes) -> list[Row]:
    """Return the rows of whose it was, by day; days of its keeping of which nobody says so are rows that say so."""
    lines = sorted(sheet.holdings, key=lambda holding: holding.from_on)
    rows = [(holding.from_on, _holding_row(holding, notes, today=sheet.today)) for holding in lines]
    return _with_gaps(rows, gaps(kept(sheet), sheet.holdings), column="footing", today=sheet.today)


def _holding_row(line: HoldingLine, notes: Notes, *, today: date) -> Row:
    about = f"{words.spoken(line.kind)}, {words.short_date(line.from_on)}"
    late = line.until_on is None and line.due_back_on is not None and line.due_back_on < today
    due = f"due back {words.short_date(line.due_back_on)}" if line.due_back_on else ""
    overdue = (Phrase(words.distance(line.due_back_on, today=today), tone="alarm"),) if late and line.due_back_on else ()
    cells: dict[str, Cell] = {
        "footing": (Phrase(words.spoken(line.kind), Face.BOLD), *_phrases(due), *overdue),
        "party": line.party or "",
        "remarks": (*notes.cell(line.terms, about=f"Terms of {about}"), *notes.cell(line.note, about=about.capitalize())),
    }
    return Row(_days(line.from_on, line.until_on) | cells, act_now=late)


def measured(sheet: AnimalRecordSheet) -> list[MeasurementLine]:
    """Return the measurements by day, on one day by kind."""
    kinds = list(MeasureKind)
    return sorted(sheet.measurements, key=lambda line: (line.measured_on, kinds.index(line.kind)))


def measurement_rows(sheet: AnimalRecordSheet, notes: Notes) -> list[Row]:
    """Return the rows of its measurements, by day."""
    return [_measurement_row(line, notes) for line in measured(sheet)]


def _measurement_row(line: MeasurementLine, notes: Notes) -> Row:
    kind = words.spoken(line.kind.value)
    mean = f"mean of {words.number(line.of_number)}" if line.of_number else ""
    unusual: tuple[Phrase, ...] = (Phrase("unusual, and confirmed", Face.OBLIQUE),) if line.surprising else ()
    note = notes.cell(line.note, about=f"{kind.capitalize()} of {words.short_date(line.measured_on)}")
    return Row(
        {
            "on": words.short_date(line.measured_on),
            "kind": _phrases(kind, mean),
            "value": (Phrase(_value(line), Face.BOLD),),
            "method": line.method or "",
            "by": line.by or "",
            "remarks": unusual + note,
        }
    )


def _value(line: MeasurementLine) -> str:
    if line.mass_g is not None:
        return f"{words.number(line.mass_g)}\u00a0g"
    return NOT_ON_RECORD if line.length_mm is None else f"{words.number(line.length_mm)}\u00a0mm"


def parent_rows(sheet: AnimalRecordSheet, notes: Notes) -> list[Row]:
    """Return the rows of its parents, by role; the surest first."""
    sure = {word: number for number, word in enumerate(_surest_first)}
    lines = sorted(sheet.parents, key=lambda line: (line.role, sure.get(line.certainty, len(sure)), line.tag or "", line.elsewhere or ""))
    return [_parent_row(line, notes) for line in lines]


def _parent_row(line: ParentLine, notes: Notes) -> Row:
    who = (
        (Phrase("not kept here", Face.OBLIQUE), Phrase(line.elsewhere))
        if line.elsewhere
        else (Phrase(line.tag or NOT_ON_RECORD, Face.BOLD), *((_taxon(line.scientific_name, line.rank),) if line.scientific_name else ()))
    )
    about = f"{words.spoken(line.role).capitalize()} {line.tag or line.elsewhere or ''}".strip()
    return Row(
        {
            "role": (Phrase(words.spoken(line.role), Face.BOLD),),
            "animal": who,
            "certainty": words.spoken(line.certainty),
            "remarks": (*_phrases(_labelled("known by", line.known_by)), *notes.cell(line.note, about=about)),
        }
    )


def offspring_rows(sheet: AnimalRecordSheet) -> list[Row]:
    """Return the rows of its offspring, by day of hatching and tag; without a day last."""
    lines = sorted(sheet.offspring, key=lambda line: (line.hatched_on is None, line.hatched_on or date.max, line.tag))
    return [_offspring_row(line) for line in lines]


def _offspring_row(line: OffspringLine) -> Row:
    day = hatched(line.hatched_on, precision=line.hatched_precision) if line.hatched_on else NOT_ON_RECORD
    return Row(
        {
            "animal": (Phrase(line.tag, Face.BOLD), _taxon(line.scientific_name, line.rank)),
            "role": f"as {words.spoken(line.role)}",
            "certainty": words.spoken(line.certainty),
            "hatched": day,
            "number": words.number(line.count),
            "status": STATUS_WORDS[line.status],
        }
    )


def event_rows(sheet: AnimalRecordSheet, notes: Notes) -> list[Row]:
    """Return the rows of what happened, with what it changed the number by and to."""
    rows, number = [], 0
    for event in sheet.events:
        number += event.change
        rows.append(_event_row(event, notes, number=number))
    return rows


def _event_row(event: EventLine, notes: Notes, *, number: int) -> Row:
    since = [f"now {one.value}" for one in (event.sex, event.life_stage) if one is not None and one.value != "unknown"]
    details = _phrases(
        words.spoken(event.basis) if event.basis else "",
        event.party,
        _labelled("cause", event.cause),
        _labelled("paper", event.reference),
        *since,
    )
    why = f"went there although it does not suit: {event.override_reason}" if event.override_reason else ""
    note = notes.cell(event.note, about=f"{EVENT_WORDS[event.kind].capitalize()}, {words.short_date(event.happened_on)}")
    return Row(
        {
            "on": words.short_date(event.happened_on),
            "what": (Phrase(_what(event), Face.BOLD), *_about_number(event)),
            "number": _change(event, number=number),
            "details": details,
            "remarks": (*_phrases(why), *note),
        }
    )


def _what(event: EventLine) -> str:
    said = EVENT_WORDS[event.kind]
    return f"{said} {event.other_tag or 'another record'}" if event.kind in BETWEEN_RECORDS else said


def _about_number(event: EventLine) -> tuple[Phrase, ...]:
    if event.kind is EventKind.COUNTED:
        return (Phrase(f"{words.number(event.number)} found"),)
    if event.kind is EventKind.ESTIMATED:
        return (Phrase(f"about {words.number(event.number)} found"),)
    return (Phrase(words.plural(event.number, "animal")),) if event.number > 1 and not event.change else ()


def _change(event: EventLine, *, number: int) -> tuple[Phrase, ...]:
    if not event.change and event.kind not in COUNTING:
        return ()
    sign = "+" if event.change > 0 else "\u2212" if event.change else "\u00b1"
    return (Phrase(f"{sign}{words.number(abs(event.change))} →\u00a0{words.number(number)}"),)


def document_rows(sheet: AnimalRecordSheet, notes: Notes) -> list[Row]:
    """Return the rows of its documents by their day, then by title; without a day last."""
    lines = sorted(sheet.documents, key=lambda line: (line.dated_on is None, line.dated_on or date.max, line.title, line.sha256))
    return [_document_row(line, notes) for line in lines]


def _document_row(line: DocumentLine, notes: Notes) -> Row:
    return Row(
        {
            "document": (Phrase(line.title, Face.BOLD), *_phrases(line.role), Phrase(line.media_type, tone="muted")),
            "dated": words.short_date(line.dated_on) if line.dated_on else NOT_ON_RECORD,
            "reference": line.reference or "",
            "fingerprint": (Phrase(words.in_eights(line.sha256), Face.MONO),),
            "remarks": notes.cell(line.note, about=f"Document {line.title}"),
        }
    )


def fate_facts(sheet: AnimalRecordSheet) -> tuple[Fact, ...]:
    """Return how its life in the collection ended, or that it has not; of a group also where its animals went."""
    status = _status(sheet)
    how = _phrases(_fate(sheet, status))
    facts = [Fact("fate", tuple(phrase._replace(font=Face.BOLD) for phrase in how))]
    last = next((event for event in reversed(sheet.events) if event.kind in TAKING), None)
    if last is not None and status in GONE:
        facts += [
            Fact("cause", _known(last.cause)) if status is Status.DEAD else Fact("to", _known(last.party or last.other_tag)),
            Fact("paper about it", _known(last.reference)),
        ]
    if sheet.grouping is Grouping.GROUP:
        facts.append(Fact("of the group", (Phrase(_reckoning(sheet)),)))
    return tuple(facts)


def _fate(sheet: AnimalRecordSheet, status: Status | None) -> str:
    if status is None:
        return NOT_ON_RECORD
    day, end = words.short_date(_since(sheet, status)), ended_on(sheet)
    said = {
        Status.PRESENT: f"In the collection's keeping on {words.short_date(sheet.today)}.",
        Status.AWAY: f"In the collection's keeping, away since {day}.",
        Status.MISSING: f"Missing since {day}.",
        Status.DEAD: f"Died on {words.short_date(end or sheet.today)}.",
        Status.DEPARTED: f"Left the collection on {words.short_date(end or sheet.today)}.",
        Status.MERGED: f"Went on into other records on {words.short_date(end or sheet.today)}.",
    }
    return said[status]


def _reckoning(sheet: AnimalRecordSheet) -> str:
    sums: Counter[str] = Counter()
    for event in sheet.events:
        sums[_account(event)] += event.change
    parts = [f"{words.number(abs(sums[name]))} {name}" for name in _accounts if sums[name]]
    counted = sums[_by_counting]
    more = [f"{words.number(abs(counted))} {'more' if counted > 0 else 'fewer'} found in counts"] if counted else []
    return f"{', '.join([*parts, *more]) or 'none on record'}; {words.number(sheet.count)} kept now."


_accounts = ("came, or were born, hatched or laid here", "came from other records", "died", "left", "went into other records")
_by_counting = "counting"


def _account(event: EventLine) -> str:
    if event.kind in BETWEEN_RECORDS:
        return "came from other records" if event.kind in ADDING else "went into other records"
    if event.kind in ADDING:
        return _accounts[0]
    if event.kind in COUNTING:
        return _by_counting
    return "died" if event.kind is EventKind.DIED else "left"


def not_shown(sheet: AnimalRecordSheet) -> str:
    """Return the sentence about entries that were withdrawn or corrected."""
    if not sheet.withdrawn and not sheet.corrected:
        return "No entry about it was withdrawn or corrected."
    said = [
        f"{words.plural(number, 'entry', many='entries')} {'was' if number == 1 else 'were'} {how}"
        for number, how in ((sheet.withdrawn, "withdrawn"), (sheet.corrected, "corrected"))
        if number
    ]
    return f"{' and '.join(said)}; only what holds is shown here, the journal keeps the rest."


def _with_gaps(rows: Sequence[tuple[date, Row]], unknown: Iterable[Days], *, column: str, today: date) -> list[Row]:
    nothing: dict[str, Cell] = {column: (Phrase(NOT_ON_RECORD, Face.BOLD),), GAP: NOT_ON_RECORD}
    missing = [(start, Row(_days(start, None if end == today else end) | nothing)) for start, end in unknown]
    return [row for _, row in sorted([*rows, *missing], key=lambda dated: dated[0])]


def _days(from_on: date, until_on: date | None) -> dict[str, Cell]:
    return {"from": words.short_date(from_on), "until": _until(until_on)}


def _until(day: date | None) -> str:
    return TO_DATE if day is None else words.short_date(day)


def _known(text: str | None) -> tuple[Phrase, ...]:
    return (Phrase(text),) if text else (Phrase(NOT_ON_RECORD, Face.BOLD),)


def _labelled(label: str, text: str | None) -> str:
    return f"{label}: {text}" if text else ""


def _phrases(*texts: str | None) -> tuple[Phrase, ...]:
    return tuple(Phrase(text) for text in texts if text)
