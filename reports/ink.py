"""Writing on a page: lines at places, with face, size and tone changed only where they change."""

from typing import Any, Final

from reportlab.lib.colors import Color, HexColor, white
from reportlab.lib.rl_accel import escapePDF, fp_str
from reportlab.pdfbase.pdfmetrics import getFont
from reportlab.pdfgen.canvas import Canvas

from reports.fonts import Face
from reports.tags import ARTIFACT, END, Role, Tags
from reports.text import Line, Tone

INK: Final = HexColor(0x16242C)
MUTED: Final = HexColor(0x5B6B75)
ALARM: Final = HexColor(0xB8470B)

_most_held = 50_000


def _fill(colour: Color) -> str:
    return f"{fp_str(*colour.rgb())} rg"


_fills: Final[dict[Tone, str]] = {"ink": _fill(INK), "muted": _fill(MUTED), "alarm": _fill(ALARM), "white": _fill(white)}

Shown = tuple[tuple[str, str], ...]


class Inkwell:
    """What a file has already encoded: the same words come up on every page, so each is encoded once."""

    def __init__(self, canvas: Canvas, tags: Tags) -> None:
        self.tags = tags
        self._document: Any = canvas._doc  # noqa: SLF001
        self._held: dict[tuple[Face, str], Shown] = {}

    def shown(self, face: Face, text: str) -> Shown:
        """Return the stretches of the text as (font resource, operator that shows it)."""
        held = self._held.get((face, text))
        if held is None:
            if len(self._held) >= _most_held:
                self._held.clear()
            held = self._held[face, text] = self._encoded(face, text)
        return held

    def _encoded(self, face: Face, text: str) -> Shown:
        font = getFont(face)
        document = self._document
        return tuple(
            [
                (font.getSubsetInternalName(subset, document), f"({escapePDF(codes)}) Tj")
                for subset, codes in font.splitString(text, document)
            ]
        )


class Ink:
    """One text object of a page: an artifact, but for what is written after it was told of which element that is the content."""

    def __init__(self, well: Inkwell) -> None:
        self._well = well
        self._operators = ["BT"]
        self._resource = ""
        self._size = 0.0
        self._tone: Tone | None = None
        self._is_marked = False

    def tag(self, role: Role) -> None:
        """Have what is written from here on be the content of a new element."""
        self._mark(self._well.tags.leaf(role))

    def untag(self) -> None:
        """Have what is written from here on be an artifact again."""
        self._mark(ARTIFACT)

    def _mark(self, operator: str) -> None:
        if not self._is_marked:
            self._operators.insert(1, ARTIFACT)
        self._operators += (END, operator)
        self._is_marked = True

    def write(self, line: Line, *, x: float, y: float, size: float) -> None:
        """Write one line with its baseline at ``y`` [pt]."""
        add = self._operators.append
        add(f"1 0 0 1 {x:.2f} {y:.2f} Tm")
        for face, stretch, tone in line:
            if tone != self._tone:
                self._tone = tone
                add(_fills[tone])
            for resource, shown in self._well.shown(face, stretch):
                if resource != self._resource or size != self._size:
                    self._resource, self._size = resource, size
                    add(f"{resource} {fp_str(size)} Tf")
                add(shown)

    def dry(self, canvas: Canvas) -> None:
        """Put what was written on the page."""
        text = " ".join(self._operators)
        canvas.saveState()
        canvas.addLiteral(f"{END} {text} {END} ET {ARTIFACT}" if self._is_marked else f"{text} ET")
        canvas.restoreState()
