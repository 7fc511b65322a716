"""The page every paper is printed on: margins, styles, furniture, and the marks that are not tables.

A paper is drawn top down in one pass. Equal calls give equal bytes: the only instant in the file is the sheet's own.
"""

from calendar import timegm
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import md5
from io import BytesIO
from typing import Any, Final

from reportlab import rl_config
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, landscape, portrait
from reportlab.lib.utils import TimeStamp
from reportlab.pdfbase.pdfdoc import PDFName, PDFPage, PDFString
from reportlab.pdfgen.canvas import Canvas

from reports import words
from reports.attachments import Attachment, write_attachment
from reports.fonts import Face, glyphs
from reports.ink import ALARM, INK, Ink, Inkwell
from reports.tags import ARTIFACT, END, Tags
from reports.text import LOOSE, Line, Tone, fitted, line_width, lines, measure, one_line, sized

rl_config.trustedHosts = None
rl_config.trustedSchemes = []
rl_config.toColorCanUse = None
rl_config.useA85 = 0

RULE: Final = HexColor(0xC3CCD2)
HEAD_GROUND: Final = HexColor(0xF1F4F6)
CAUTION_GROUND: Final = HexColor(0xFFF1D6)

UPRIGHT: Final = portrait(A4)
LYING: Final = landscape(A4)

MARGIN: Final = 34.0  # left and right [pt]
TOP: Final = 34.0  # 12 mm for the clip
HEADER: Final = 24.0
FOOTER: Final = 48.0

BODY_SIZE: Final = 8.5
SMALL_SIZE: Final = 8.0
LEADING: Final = 10.0
TOTAL: Final = "total"


@dataclass(frozen=True, slots=True)
class Furniture:
    """What stands on every page of a paper, and in the file's properties; ``check_at`` is where the paper can be looked up."""

    paper_id: str
    organisation: str
    name: str
    title: str
    data_as_of: datetime
    generated_at: datetime
    zone: str
    record_hash: str
    language: str = "en"
    check_at: str | None = None


@dataclass(frozen=True, slots=True)
class Figure:
    """A key figure of the strip under the title, a number or few words; ``alarm`` gives it a heavy line, its label says the rest."""

    value: int | str
    label: str
    alarm: bool = False


class Paper:
    """A paper being drawn: a place on the current page, and what was drawn so far."""

    def __init__(self, furniture: Furniture, *, size: tuple[float, float] = UPRIGHT, margin: float = MARGIN) -> None:
        glyphs(Face.REGULAR)
        self._furniture = furniture
        self._bytes = BytesIO()
        self.canvas: Any = _canvas(furniture, size=size, target=self._bytes)
        self.tags = Tags()
        self._well = Inkwell(self.canvas, self.tags)
        self.left = margin
        self.width = size[0] - 2 * margin
        self.right = self.left + self.width
        self._highest = size[1] - TOP - HEADER
        self._sections = self._links = 0
        self._attached: Attachment | None = None
        self._begin_page()

    @property
    def room(self) -> float:
        """How much of the page is left [pt]."""
        return self.y - FOOTER

    @property
    def page_height(self) -> float:
        """How much an empty page holds [pt]."""
        return self._highest - FOOTER

    @property
    def is_fresh(self) -> bool:
        """Whether nothing was drawn on this page yet."""
        return self.y == self._highest

    def ink(self) -> Ink:
        """Return ink to write on this page with; it shows once it is dried."""
        return Ink(self._well)

    def need(self, height: float) -> None:
        """Go to a new page unless ``height`` [pt] is left on this one."""
        if self.room < height and not self.is_fresh:
            self.new_page()

    def new_page(self) -> None:
        """End this page and begin the next."""
        self._end_page()
        self.canvas.showPage()
        self._begin_page()

    def skip(self, height: float) -> None:
        """Leave ``height`` [pt] empty."""
        self.y -= height

    def attach(self, name: str, content: bytes, *, media_type: str, about: str) -> None:
        """Have a file lie in the paper's, the only one, as old as the paper; ``about`` says in a sentence what it is."""
        self._attached = Attachment(name, content, media_type, about, self._furniture.generated_at)

    def finished(self) -> bytes:
        """End the paper and return its file."""
        pages = self.canvas.getPageNumber()
        self._end_page()
        self.canvas.showPage()
        _define_total(self, pages=pages)
        document = self.canvas._doc  # noqa: SLF001 - no public way leads to the file's objects
        self.tags.write(document)
        if self._attached is not None:
            write_attachment(document, self._attached)
        self.canvas.save()
        return self._bytes.getvalue()

    @contextmanager
    def drawing(self, alternative: str, *, box: tuple[float, float, float, float]) -> Iterator[None]:
        """Have what is drawn meanwhile within a box [pt] be a figure; ``alternative`` says in words what it shows."""
        self.canvas.addLiteral(f"{END} {self.tags.leaf('Figure', alternative=alternative, box=box)}")
        yield
        self.canvas.addLiteral(f"{END} {ARTIFACT}")

    def title(self, text: str, *, under: Sequence[str]) -> None:
        """Draw the paper's title and the lines under it."""
        ink = self.ink()
        ink.tag("H1")
        for line in lines(text, face=Face.BOLD, size=19, width=self.width, limit=200, most=2):
            self.y -= 22
            ink.write(line, x=self.left, y=self.y + 3, size=19)
        for sentence in under:
            ink.tag("P")
            for line in lines(sentence, face=Face.REGULAR, size=10, width=self.width, most=2, tone="muted"):
                self.y -= 13
                ink.write(line, x=self.left, y=self.y, size=10)
        ink.dry(self.canvas)
        self.skip(14)

    def section(self, text: str) -> None:
        """Draw a section's heading and enter it in the bookmarks; the caller has seen to the room for it."""
        self._sections += 1
        mark = f"section-{self._sections}"
        self.canvas.bookmarkHorizontalAbsolute(mark, self.y)
        self.canvas.addOutlineEntry(one_line(text), mark, level=0)
        self.y -= SECTION_HEIGHT
        ink = self.ink()
        ink.tag("H2")
        ink.write(fitted(text, face=Face.BOLD, size=12, width=self.width), x=self.left, y=self.y + 7, size=12)
        ink.dry(self.canvas)

    def sentence(self, text: str, *, size: float = 10, face: Face = Face.REGULAR, tone: Tone = "ink") -> None:
        """Draw a paragraph of our own or of a sheet across the page."""
        set_lines = lines(text, face=face, size=size, width=self.width, tone=tone)
        self.need(len(set_lines) * size * 1.3)
        ink = self.ink()
        ink.tag("P")
        for line in set_lines:
            self.y -= size * 1.3
            ink.write(line, x=self.left, y=self.y + size * 0.3, size=size)
        ink.dry(self.canvas)

    def link(self, address: str, written: Sequence[Line], *, x: float, y: float, size: float) -> None:
        """Write an address as lines of which the first has its baseline at ``y`` [pt]; whoever clicks on them is led there."""
        with self.tags.element("P"):
            self.link_within(address, written, x=x, y=y, size=size)

    def link_within(self, address: str, written: Sequence[Line], *, x: float, y: float, size: float) -> None:
        """Write an address like ``link``, into the element at hand."""
        self._links += 1
        ink = self.ink()
        ink.tag("Link")
        for number, line in enumerate(written):
            ink.write(line, x=x, y=y - number * size * LOOSE, size=size)
        ink.dry(self.canvas)
        # reportlab names annotations by their count, and there are no others.
        beside = {"StructParent": self.tags.annotate(f"NUMBER{self._links}"), "Contents": PDFString(address), "F": _PRINTED}
        lowest = y - (len(written) - 1) * size * LOOSE - size * 0.25
        widest = max(line_width(line, size=size) for line in written)
        self.canvas.linkURL(address, (x, lowest, x + widest, y + size), **beside)

    def figures(self, figures: Sequence[Figure]) -> None:
        """Draw the strip of key figures."""
        gap = 10.0
        width = (self.width - gap * (len(figures) - 1)) / len(figures)
        labels = [lines(figure.label, face=Face.REGULAR, size=9, width=width, most=2) for figure in figures]
        ink = self.ink()
        for number, figure in enumerate(figures):
            x = self.left + number * (width + gap)
            self._line_above(figure, x=x, width=width)
            tone: Tone = "alarm" if figure.alarm else "ink"
            ink.tag("P")
            value_size, value = sized(str(figure.value), face=Face.BOLD, width=width, height=22, sizes=_value_sizes)
            for above, line in zip(range(len(value) - 1, -1, -1), value, strict=True):
                written = tuple(run._replace(tone=tone) for run in line)
                ink.write(written, x=x, y=self.y - 20 + above * value_size * LOOSE, size=value_size)
            for below, line in enumerate(labels[number]):
                ink.write(line, x=x, y=self.y - 33 - below * LEADING, size=9)
        ink.dry(self.canvas)
        self.skip(48 + LEADING * (max(map(len, labels)) - 1))

    def _line_above(self, figure: Figure, *, x: float, width: float) -> None:
        self.canvas.setStrokeColor(ALARM if figure.alarm else RULE)
        self.canvas.setLineWidth(2.5 if figure.alarm else 1)
        self.canvas.line(x, self.y, x + width, self.y)

    def _begin_page(self) -> None:
        self.y = self._highest
        self.tags.begin_page()
        self.canvas.addLiteral(ARTIFACT)

    def _end_page(self) -> None:
        _draw_header(self, self._furniture, y=self._highest + HEADER - 8)
        _draw_footer(self, self._furniture)
        self.canvas.addLiteral(END)


SECTION_HEIGHT: Final = 24.0
_value_sizes = (17.0, 15.0, 13.0, 11.0, 9.0)
_PRINTED = 4  # of the flags of an annotation: it is printed as well
_number_sizes = (9.0, 8.0, 7.0, 6.0)
_record_sizes = (SMALL_SIZE, 7.0, 6.0)


class _Canvas(Canvas):
    """A canvas whose pages say where their marks are in the tree of the file, and that what can be filled in follows it."""

    def _setAnnotations(self, page: Any) -> None:  # noqa: ANN401, N802 - reportlab's, of pages and forms
        super()._setAnnotations(page)
        if not isinstance(page, PDFPage):
            return
        page.__NoDefault__ = [*page.__NoDefault__, "StructParents", "Tabs"]
        page.StructParents, page.Tabs = self.getPageNumber() - 1, PDFName("S")


def _plain(text: str, face: Face, *, tone: Tone = "muted") -> Line:
    return fitted(text, face=face, size=1, width=1_000, tone=tone)


def _canvas(furniture: Furniture, *, size: tuple[float, float], target: BytesIO) -> Canvas:
    canvas = _Canvas(
        target,
        pagesize=size,
        pdfVersion=(1, 7),
        pageCompression=1,
        invariant=1,
        initialFontName=Face.REGULAR.value,
        lang=furniture.language,
    )
    # reportlab offers the year 2000 or the clock; the sheet's own instant is true and repeatable.
    canvas._doc._timeStamp = _stamp(furniture.generated_at)  # noqa: SLF001
    canvas._doc.signature = md5(furniture.record_hash.encode(), usedforsecurity=False)  # noqa: SLF001
    canvas.setTitle(one_line(furniture.title))
    canvas.setAuthor(one_line(furniture.organisation))
    canvas.setSubject(f"{furniture.name}, {one_line(furniture.paper_id)}")
    canvas.setCreator("Reedbed")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    return canvas


def _stamp(instant: datetime) -> TimeStamp:
    stamp = TimeStamp(1)
    utc = instant.astimezone(UTC).timetuple()
    stamp.t, stamp.lt, stamp.YMDhms = float(timegm(utc)), tuple(utc), tuple(utc)[:6]
    return stamp


def _draw_header(paper: Paper, furniture: Furniture, *, y: float) -> None:
    canvas, left, right = paper.canvas, paper.left, paper.right
    number_size, numbers = sized(one_line(furniture.paper_id), face=Face.REGULAR, width=200, height=9 * LOOSE, sizes=_number_sizes)
    number = tuple(run._replace(tone="muted") for line in numbers for run in line)
    organisation = fitted(furniture.organisation, face=Face.BOLD, size=9, width=right - left - 380)
    ink = paper.ink()
    ink.write(organisation, x=left, y=y, size=9)
    after = left + line_width(organisation, size=9) + 10
    ink.write(_plain(furniture.name, Face.REGULAR), x=after, y=y, size=9)
    ink.write(number, x=right - line_width(number, size=number_size), y=y, size=number_size)
    ink.dry(canvas)
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.8)
    canvas.line(left, y - 6, right, y - 6)


def _draw_footer(paper: Paper, furniture: Furniture) -> None:
    canvas, left, right = paper.canvas, paper.left, paper.right
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.5)
    canvas.line(left, FOOTER - 8, right, FOOTER - 8)
    if canvas.getPageNumber() == 1:
        with paper.tags.element("P", last=True):
            _draw_provenance(paper, furniture, is_read=True)
    else:
        _draw_provenance(paper, furniture, is_read=False)
    ink = paper.ink()
    place = fitted(f"page {canvas.getPageNumber()} of ", face=Face.REGULAR, size=SMALL_SIZE, width=90, tone="muted")
    x = right - 22
    ink.write(place, x=x - line_width(place, size=SMALL_SIZE), y=FOOTER - 19, size=SMALL_SIZE)
    ink.dry(canvas)
    canvas.saveState()
    canvas.translate(x, FOOTER - 19)
    canvas.doForm(TOTAL)
    canvas.restoreState()


def _draw_provenance(paper: Paper, furniture: Furniture, *, is_read: bool) -> None:
    """Draw from when and of which record a paper is, and where it can be checked; where that ``is_read``, its address leads there."""
    as_of = words.clock(furniture.data_as_of, zone=furniture.zone)
    generated = words.clock(furniture.generated_at, zone=furniture.zone)
    when = f"data as of {as_of} · generated {generated} · times in {words.zone_name(furniture.zone)}"
    dated = fitted(when, face=Face.REGULAR, size=SMALL_SIZE, width=paper.width - 90, tone="muted")
    size, record, address = _record(furniture, width=paper.width)
    ink = paper.ink()
    if is_read:
        ink.tag("Span")
    ink.write(dated, x=paper.left, y=FOOTER - 19, size=SMALL_SIZE)
    ink.write(record, x=paper.left, y=FOOTER - 29, size=size)
    x = paper.left + line_width(record, size=size)
    if address and furniture.check_at is not None and is_read:
        ink.dry(paper.canvas)
        paper.link_within(furniture.check_at, [address], x=x, y=FOOTER - 29, size=size)
    else:
        ink.write(address, x=x, y=FOOTER - 29, size=size)
        ink.dry(paper.canvas)


def _record(furniture: Furniture, *, width: float) -> tuple[float, Line, Line]:
    """Return the size of the footer's second line [pt], the paper's record hash, and the address where it can be checked.

    An address is never cut: where it has no room even in small letters, the line says that the box at the end has the whole of it.
    """
    hashed, check_at = f"record {furniture.record_hash[:16]}", furniture.check_at
    if check_at is None:
        return SMALL_SIZE, _of_record(hashed, ""), ()
    for size in _record_sizes:
        record = _of_record(hashed, " · check at ")
        if line_width(record, size=size) + measure(check_at, face=Face.REGULAR, size=size) <= width:
            return size, record, fitted(check_at, face=Face.REGULAR, size=size, width=width, tone="muted")
    return SMALL_SIZE, _of_record(hashed, " · where to check it is said at its end"), ()


def _of_record(hashed: str, where: str) -> Line:
    return _plain(hashed, Face.MONO) + _plain(where, Face.REGULAR)


def _define_total(paper: Paper, *, pages: int) -> None:
    """Define the number every page's footer points at, so that the paper is laid out once only."""
    canvas = paper.canvas
    canvas.beginForm(TOTAL, lowerx=0, lowery=-4, upperx=40, uppery=12)
    ink = paper.ink()
    ink.write(_plain(str(pages), Face.REGULAR), x=0, y=0, size=SMALL_SIZE)
    ink.dry(canvas)
    canvas.endForm()
