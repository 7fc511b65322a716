"""Enclosure labels on paper: ten to a page, 95 by 50 mm each, black on white so that any printer and laminate will do."""

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

from reportlab.lib.colors import black
from reportlab.lib.units import mm

from reports.canonical import canonical_json, record_hash
from reports.fonts import Face
from reports.ink import Ink
from reports.labels import compose
from reports.labels.compose import Kind
from reports.labels.sheet import LABELS_PER_PAGE, EnclosureLabel, LabelSheet
from reports.page import UPRIGHT, Furniture, Paper
from reports.qr import draw_code
from reports.text import LOOSE, Line, Tone, fitted, line_width, lines, measure, sized

NAME: Final = "Enclosure labels"
NONE: Final = "No enclosure was chosen."
SCALE_NOTE: Final = "Print at 100 %, not fitted to the page. This bar is then 50 mm long, and the labels fit:"

LABEL_WIDTH: Final = 95 * mm
LABEL_HEIGHT: Final = 50 * mm
CODE_SIDE: Final = 32 * mm
BAR: Final = 50 * mm
CODE_SIZES: Final = (30.0, 28.0, 26.0, 24.0, 22.0, 20.0, 18.0, 16.0, 14.0, 12.0, 10.0, 9.0, 8.0, 7.0, 6.0, 5.0)
"""Of the enclosure's name [pt]: 30 is read from three metres, the rest is for names that are too long for it."""

_columns = 2
_margin = (UPRIGHT[0] - _columns * LABEL_WIDTH) / 2
_pad = 10.0
_gap = 4.0
_code_height = 35.0
_body_sizes = (10.0, 9.0, 8.0, 7.0, 6.0, 5.0, 4.0)  # of the taxa; the rest is set smaller where that is legible
_legible = 8.0
_most = 100
_pill_size = 8.0
_pill_height = 12.6
_pill_gap = 3.0
_rows_below_code = 2


class _Body(NamedTuple):
    """What stands between the enclosure's name and the cautions, set at one size; ``kinds`` are lines of a name and its number."""

    size: float
    small: float
    place: tuple[Line, ...]
    kinds: tuple[tuple[Line, ...], ...]
    set_points: tuple[Line, ...]


def labels_pdf(sheet: LabelSheet) -> bytes:
    """Return the paper; equal sheets give equal bytes."""
    paper = Paper(_furniture(sheet), margin=_margin)
    if not sheet.labels:
        paper.sentence(NONE, size=13, face=Face.BOLD)
        return paper.finished()
    for number, labels in enumerate(_by_page(sheet)):
        if number:
            paper.new_page()
        _draw_page(paper, sheet, labels)
    return paper.finished()


def _by_page(sheet: LabelSheet) -> list[dict[int, EnclosureLabel]]:
    """Return the labels of each page by their place on it, 0 to 9."""
    pages: list[dict[int, EnclosureLabel]] = []
    for number, label in enumerate(sheet.labels, start=sheet.first_label - 1):
        if not pages or number % LABELS_PER_PAGE == 0:
            pages.append({})
        pages[-1][number % LABELS_PER_PAGE] = label
    return pages


def _draw_page(paper: Paper, sheet: LabelSheet, labels: Mapping[int, EnclosureLabel]) -> None:
    places = {place: divmod(place, _columns) for place in labels}
    corners = {place: (paper.left + column * LABEL_WIDTH, paper.y - row * LABEL_HEIGHT) for place, (row, column) in places.items()}
    _draw_cuts(paper, list(corners.values()))
    for place, label in labels.items():
        left, top = corners[place]
        with paper.tags.element("Sect"):
            _draw_label(paper, sheet, label, left=left, top=top)
    _draw_scale(paper)


def labels_json(sheet: LabelSheet) -> bytes:
    """Return the whole sheet as canonical JSON, the bytes that ``record_hash`` is taken of."""
    return canonical_json(sheet)


def _furniture(sheet: LabelSheet) -> Furniture:
    return Furniture(
        paper_id=sheet.paper_id,
        organisation=sheet.organisation,
        name=NAME,
        title=f"{NAME} · {sheet.site}",
        data_as_of=sheet.data_as_of,
        generated_at=sheet.generated_at,
        zone=sheet.zone,
        record_hash=record_hash(sheet),
    )


def _draw_scale(paper: Paper) -> None:
    """Draw the bar to hold a ruler to, below the last row of labels."""
    y = paper.y - LABEL_HEIGHT * LABELS_PER_PAGE / _columns - 22
    ink = paper.ink()
    ink.tag("P")
    note = fitted(SCALE_NOTE, face=Face.REGULAR, size=8.5, width=paper.width - BAR - 20)
    ink.write(note, x=paper.left, y=y - 3, size=8.5)
    ink.dry(paper.canvas)
    start = paper.right - BAR
    paper.canvas.setStrokeColor(black)
    paper.canvas.setLineWidth(0.8)
    ends = [(start + step * BAR / 5, y - 3, start + step * BAR / 5, y + 3) for step in range(6)]
    paper.canvas.lines([(start, y, start + BAR, y), *ends])


def _draw_label(paper: Paper, sheet: LabelSheet, label: EnclosureLabel, *, left: float, top: float) -> None:
    bottom = top - LABEL_HEIGHT
    code_left = left + LABEL_WIDTH - CODE_SIDE - _gap
    code_low = top - CODE_SIDE - _gap
    ink = paper.ink()
    pills = _pill_rows(compose.pills(label), beside_code=code_left - _gap - left - _pad)
    pills_top = bottom + 6 + len(pills) * (_pill_height + _pill_gap)
    _write_text(ink, label, left=left + _pad, top=top - 6, width=code_left - _gap - left - _pad, low=pills_top)
    _draw_pills(paper, ink, pills, left=left + _pad, top=pills_top)
    _write_id(ink, label, left=code_left, y=code_low - 7)
    ink.dry(paper.canvas)
    with paper.drawing(f"QR code of {compose.id_text(label)}", box=(code_left, code_low, code_left + CODE_SIDE, code_low + CODE_SIDE)):
        draw_code(paper.canvas, compose.code_text(sheet, label), x=code_left, y=code_low, side=CODE_SIDE)


def _draw_cuts(paper: Paper, places: Sequence[tuple[float, float]]) -> None:
    """Draw the edges of the labels with these upper left corners, each edge once."""
    edges: dict[tuple[int, ...], tuple[float, ...]] = {}
    for left, top in places:
        right, bottom = left + LABEL_WIDTH, top - LABEL_HEIGHT
        around = ((left, top, right, top), (left, bottom, right, bottom), (left, bottom, left, top), (right, bottom, right, top))
        edges |= {tuple(map(round, edge)): edge for edge in around}
    canvas = paper.canvas
    canvas.saveState()
    canvas.setStrokeColor(black)
    canvas.setLineWidth(0.3)
    canvas.setDash(2, 3)
    canvas.lines(list(edges.values()))
    canvas.restoreState()


def _write_id(ink: Ink, label: EnclosureLabel, *, left: float, y: float) -> None:
    ink.tag("P")
    size, (line, *_) = sized(compose.id_text(label), face=Face.MONO, width=CODE_SIDE, height=10, sizes=(8.0, 7.0, 6.0))
    ink.write(line, x=left + (CODE_SIDE - line_width(line, size=size)) / 2, y=y, size=size)


def _write_text(ink: Ink, label: EnclosureLabel, *, left: float, top: float, width: float, low: float) -> None:
    size, code = sized(label.code, face=Face.BOLD, width=width, height=_code_height, sizes=CODE_SIZES, leading=1.1)
    y = top
    ink.tag("P")
    for line in code:
        y -= size * 1.1
        ink.write(line, x=left, y=y + size * 0.22, size=size)
    y -= 1
    body = _body(label, width=width, height=y - low)
    ink.tag("P")
    for line in body.place:
        y -= body.small * LOOSE
        ink.write(line, x=left, y=y, size=body.small)
    y -= 2
    for row in body.kinds:
        y -= body.size * LOOSE
        x = left
        ink.tag("P")
        for line in row:
            ink.write(line, x=x, y=y, size=body.size)
            x += line_width(line, size=body.size)
    ink.tag("P")
    for above, line in zip(range(len(body.set_points) - 1, -1, -1), body.set_points, strict=True):
        ink.write(line, x=left, y=low + 4 + above * body.small * LOOSE, size=body.small)


def _body(label: EnclosureLabel, *, width: float, height: float) -> _Body:
    """Return the text at the largest legible size at which all of it fits; else the kinds without room at the smallest are summed up.

    Only where not even one kind has room is it set smaller than what is legible from the round.
    """
    kinds = compose.kinds(label)
    for size in (size for size in _body_sizes if size >= _legible):
        body = _set(label, kinds, size=size, width=width)
        if _height(body) <= height:
            return body
    for size in (size for size in _body_sizes if size <= _legible):
        for shown in range(len(kinds), 0, -1):
            body = _set(label, kinds[:shown], size=size, width=width, left_over=len(kinds) - shown)
            if _height(body) <= height:
                return body
    return _set(label, kinds[:1], size=_body_sizes[-1], width=width, left_over=len(kinds) - 1)


def _set(label: EnclosureLabel, kinds: Sequence[Kind], *, size: float, width: float, left_over: int = 0) -> _Body:
    small = min(8.5, size)
    rows = [row for kind in kinds for row in _kind_rows(kind, size=size, width=width)]
    if not label.taxa:
        rows = [(line,) for line in lines(compose.EMPTY, face=Face.REGULAR, size=size, width=width)]
    if left_over > 0:
        rows += [(line,) for line in lines(compose.more(left_over), face=Face.REGULAR, size=size, width=width)]
    place = lines(compose.place(label), face=Face.REGULAR, size=small, width=width, limit=_most * 10, most=_most)
    set_points = _set_set_points(compose.set_points(label), size=small, width=width)
    return _Body(size, small, place, tuple(rows), set_points)


def _set_set_points(points: Sequence[str], *, size: float, width: float) -> tuple[Line, ...]:
    """Return the set points with dots between those that stand on one line."""
    rows: list[str] = []
    for point in points:
        longer = f"{rows[-1]} · {point}" if rows else point
        if rows and measure(longer, face=Face.BOLD, size=size) <= width:
            rows[-1] = longer
        else:
            rows.append(point)
    return tuple(line for row in rows for line in lines(row, face=Face.BOLD, size=size, width=width, most=_most))


def _kind_rows(kind: Kind, *, size: float, width: float) -> list[tuple[Line, ...]]:
    """Return the lines of a kind: its number follows its name where there is room, else it stands below."""
    *above, last = lines(kind.name, face=kind.face, size=size, width=width, most=_most) or ((),)
    (number,) = lines(f"\u00a0· {kind.number}", face=Face.BOLD, size=size, width=1_000)
    if line_width(last, size=size) + line_width(number, size=size) <= width:
        return [*((line,) for line in above), (last, number)]
    below = lines(kind.number, face=Face.BOLD, size=size, width=width)
    return [(line,) for line in (*above, last, *below)]


def _height(body: _Body) -> float:
    return (len(body.place) + len(body.set_points)) * body.small * LOOSE + len(body.kinds) * body.size * LOOSE + 8


def _pill_rows(pills: Sequence[str], *, beside_code: float) -> list[list[str]]:
    """Return the cautions in rows: two below the code to be scanned, and what they do not hold in rows beside it, above them."""
    whole = LABEL_WIDTH - 2 * _pad
    for above in range(len(pills)):
        widths = [beside_code] * above + [whole] * _rows_below_code
        rows = _packed(pills, widths)
        if rows is not None:
            return rows
    return [[pill] for pill in pills]


def _packed(pills: Sequence[str], widths: Sequence[float]) -> list[list[str]] | None:
    """Return the cautions in their order in rows no wider than these, ``None`` where they do not fit."""
    rest = list(pills)
    rows: list[list[str]] = []
    for width in widths:
        row: list[str] = []
        while rest and sum(_pill_width(pill) + _pill_gap for pill in (*row, rest[0])) <= width + _pill_gap:
            row.append(rest.pop(0))
        if row:
            rows.append(row)
    return None if rest else rows


def _pill_width(pill: str) -> float:
    return measure(pill, face=Face.BOLD, size=_pill_size) + 9


def _draw_pills(paper: Paper, ink: Ink, rows: Sequence[Sequence[str]], *, left: float, top: float) -> None:
    tone: Tone = "white"
    paper.canvas.setFillColor(black)
    y = top
    for row in rows:
        y -= _pill_height + _pill_gap
        x = left
        for pill in row:
            wide = _pill_width(pill)
            paper.canvas.roundRect(x, y, wide, _pill_height, 2.5, stroke=0, fill=1)
            ink.tag("P")
            line = fitted(pill, face=Face.BOLD, size=_pill_size, width=LABEL_WIDTH, tone=tone)
            ink.write(line, x=x + 4.5, y=y + 3.5, size=_pill_size)
            x += wide + _pill_gap
