"""Sections 3 to 6: the stock with its sums, the register of animals, the permits, and the enclosures against the rules in force."""

from collections import Counter
from collections.abc import Iterator

from domain.rules.compliance import IN_ORDER
from reports import words
from reports.animal_record.compose import EVENT_WORDS
from reports.fonts import Face
from reports.inspection_file.drawing import IN_JSON, Sections, between
from reports.inspection_file.sheet import (
    MOST_ANIMALS_PRINTED,
    MOST_ENCLOSURES_PRINTED,
    MOST_PARTS_OF_PERMITS_PRINTED,
    MOST_PERMITS_PRINTED,
    MOST_STOCK_LINES_PRINTED,
    AnimalLine,
    EnclosureLine,
    InspectionFileSheet,
    LodgerLine,
)
from reports.notes import Notes
from reports.permit_register.compose import BY_WHICH, STANDING_WORDS, condition_rows, permit_rows, scan_rows
from reports.permit_register.render import condition_columns, permit_columns, scan_columns
from reports.stock_statement import compose as stock
from reports.stock_statement.render import movement_columns, stock_columns
from reports.tables import Column, Phrase, Row

OUTCOME_WORDS = {"fits": "suits them", "does_not_fit": "DOES NOT SUIT", "cannot_decide": "cannot be decided"}

_animal_columns = (
    Column("animal", "animal and its record", 196),
    Column("taxon", "taxon, sex and stage", 138),
    Column("number", "number", 54, align="right"),
    Column("mark", "marks", 126),
    Column("source", "source", 150),
    Column("permit", "permits", 109.8),
)
_enclosure_columns = (
    Column("enclosure", "enclosure and its record", 196),
    Column("size", "size on record", 112),
    Column("who", "who lives there", 160),
    Column("verdict", "against the rules in force", 305.8),
)


def draw_stock(file: Sections, sheet: InspectionFileSheet) -> None:
    """Draw the stock of the period with its sums, checked, and the movements behind them."""
    wrong = stock.out_of_balance(sheet.stock)
    said = f"{words.number(len(wrong))} sums DO NOT RECONCILE" if wrong else "every sum reconciles"
    rows = stock.stock_rows(sheet.stock) if sheet.stock.lines else []
    file.begin(3, f"Checked: {said}.", *stock.open_items(sheet.stock), room=file.room_for(rows, stock_columns))
    file.table("Statement", rows, stock_columns, most=MOST_STOCK_LINES_PRINTED, counted=False)
    file.paper.sentence(stock.RULE, size=8, tone="muted")
    rows = stock.movement_rows(sheet.stock)
    file.table("Movements", rows, movement_columns, most=len(rows), nothing="None in this period.")
    period = f"from_on={sheet.from_on.isoformat()}&until_on={sheet.until_on.isoformat()}"
    file.say(f"They are numbered in the order of /v1/census/movements?{period}&site_id={sheet.site_id}, which leads to the record of each.")
    file.paper.skip(between)


def draw_register(file: Sections, sheet: InspectionFileSheet) -> None:
    """Draw the animals one by one: mark, source and permit."""
    rows = [_animal_row(line) for line in sheet.animals[:MOST_ANIMALS_PRINTED]]
    file.begin_with(4, rows, _animal_columns, nothing="No animal is on record as being here at the end of the period.")
    if sheet.animals_in_all > len(rows):
        left_off = words.number(sheet.animals_in_all - len(rows))
        path = f"/v1/census/specimens?as_of={sheet.until_on.isoformat()}&site_id={sheet.site_id}&form=csv"
        file.say(f"{left_off} more records are left off this paper. Its CSV goes on to {len(sheet.animals)}; {path} has all.")
    file.paper.skip(between)


def _animal_row(line: AnimalLine) -> Row:
    name = Phrase(line.scientific_name, Face.OBLIQUE if words.is_italic(line.rank) else Face.REGULAR)
    marks = tuple(_mark(one.kind, one.code) for one in line.marks)
    estimated = (Phrase("estimated", tone="muted"),) if line.estimated else ()
    wanting = None if line.standing in (None, *IN_ORDER) else line.standing
    act = () if wanting is None else (Phrase(f"ACT NOW: {STANDING_WORDS[wanting]}", Face.BOLD, "alarm"),)
    return Row(
        {
            "animal": (Phrase(line.tag, Face.BOLD), Phrase(line.enclosure), Phrase(line.id, Face.MONO, "muted")),
            "taxon": (name, Phrase(stock.sex_and_stage(line))),
            "number": (Phrase(words.number(line.number)), *estimated),
            "mark": marks or (Phrase("none on record", Face.BOLD),),
            "source": tuple(_source(line)),
            "permit": (*act, *(tuple(Phrase(number) for number in line.permits) or (Phrase("none", tone="muted"),))),
        },
        act_now=wanting is not None,
    )


def _mark(kind: str, code: str | None) -> Phrase:
    return Phrase(f"{words.spoken(kind)} {code}" if code else words.spoken(kind))


def _source(line: AnimalLine) -> Iterator[Phrase]:
    if line.came_by is None or line.came_on is None:
        yield Phrase("not on record", Face.BOLD)
        return
    yield Phrase(f"{EVENT_WORDS[line.came_by]} {words.short_date(line.came_on)}")
    basis = words.spoken(line.basis) if line.basis and line.basis != "unknown" else ""
    told = ", ".join(part for part in (basis, line.party or "") if part)
    if told:
        yield Phrase(told)
    if line.origin and line.origin != "unknown":
        yield Phrase(words.spoken(line.origin), tone="muted")


def draw_permits(file: Sections, sheet: InspectionFileSheet, notes: Notes) -> None:
    """Draw the permits by their last day, their conditions and their scans."""
    printed, on = sheet.permits[:MOST_PERMITS_PRINTED], sheet.until_on
    file.begin_with(5, permit_rows(printed, notes, on=on), permit_columns)
    if len(sheet.permits) > len(printed):
        file.say(f"{words.number(len(sheet.permits) - len(printed))} more permits are left off this paper; {IN_JSON}")
    file.table("Conditions", condition_rows(printed, notes, on=on), condition_columns, most=MOST_PARTS_OF_PERMITS_PRINTED)
    file.table("Attached scans", scan_rows(printed), scan_columns, most=MOST_PARTS_OF_PERMITS_PRINTED)
    file.paper.sentence(BY_WHICH, size=8, tone="muted")
    file.paper.skip(between)


def draw_enclosures(file: Sections, sheet: InspectionFileSheet) -> None:
    """Draw every enclosure with its size against the rules in force for its animals."""
    rows = [_enclosure_row(line) for line in sheet.enclosures[:MOST_ENCLOSURES_PRINTED]]
    file.begin_with(6, rows, _enclosure_columns, above=[_verdicts(sheet)])
    if len(sheet.enclosures) > len(rows):
        file.say(f"{words.number(len(sheet.enclosures) - len(rows))} more enclosures are left off this paper; {IN_JSON}")
    file.say("Set points, last readings and hours out of range: not recorded in this system.")
    file.paper.skip(between)


def _verdicts(sheet: InspectionFileSheet) -> str:
    verdicts = Counter(_verdict_of(line) for line in sheet.enclosures)
    said = (
        f"{words.number(verdicts[word])} {said}"
        for word, said in (
            ("fits", "suit their animals"),
            ("does_not_fit", "do not"),
            ("cannot_decide", "cannot be decided"),
            ("empty", "are empty"),
        )
    )
    return f"Of {words.plural(len(sheet.enclosures), 'enclosure')}: {', '.join(said)}."


def _verdict_of(line: EnclosureLine) -> str:
    outcomes = {one.outcome for one in line.lodgers}
    return next((word for word in ("does_not_fit", "cannot_decide", "fits") if word in outcomes), "empty")


def _enclosure_row(line: EnclosureLine) -> Row:
    unsuited = any(one.against for one in line.lodgers)
    quarantine = (Phrase("quarantine", Face.BOLD),) if line.quarantine else ()
    return Row(
        {
            "enclosure": (Phrase(line.name, Face.BOLD), Phrase(words.spoken(line.kind)), *quarantine, Phrase(line.id, Face.MONO, "muted")),
            "size": tuple(_size(line)),
            "who": tuple(phrase for one in line.lodgers for phrase in _who(one)) or (Phrase("nobody", tone="muted"),),
            "verdict": tuple(_verdict(line)),
        },
        act_now=unsuited,
    )


def _size(line: EnclosureLine) -> Iterator[Phrase]:
    yield Phrase("floor not on record" if line.floor_m2 is None else f"floor {words.number(round(line.floor_m2, 2))}\u00a0m²")
    yield Phrase("water not on record" if line.volume_l is None else f"water {words.number(round(line.volume_l, 0))}\u00a0L")
    if line.capacity is not None:
        yield Phrase(f"at most {words.plural(line.capacity, 'animal')}")
    yield Phrase(f"closes: {words.spoken(line.closure)}" if line.closure else "closure not on record")


def _who(one: LodgerLine) -> Iterator[Phrase]:
    yield Phrase(f"{words.number(one.number)} {one.scientific_name}, {one.life_stage.value}")


def _verdict(line: EnclosureLine) -> Iterator[Phrase]:
    if not line.lodgers:
        yield Phrase("nothing to be decided", tone="muted")
    against = dict.fromkeys(reason for one in line.lodgers for reason in one.against)
    if against:
        yield Phrase(f"ACT NOW: {OUTCOME_WORDS['does_not_fit']}", Face.BOLD, "alarm")
    yield from (Phrase(reason) for reason in against)
    missing = dict.fromkeys(reason for one in line.lodgers for reason in one.missing)
    if missing:
        yield Phrase("Cannot be decided:", Face.BOLD)
    yield from (Phrase(reason, tone="muted") for reason in missing)
    if line.lodgers and not against and not missing:
        yield Phrase(OUTCOME_WORDS["fits"])
    yield from (Phrase(source, tone="muted") for source in dict.fromkeys(one.source for one in line.lodgers if one.source))
