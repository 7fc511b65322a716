"""Codes to be scanned: the modules of a QR code, and the square that it fills on a page with its quiet zone."""

from functools import lru_cache
from typing import Any, Final, Literal

from reportlab.graphics.barcode.qrencoder import QR8bitByte, QRCode, QRErrorCorrectLevel
from reportlab.lib.colors import black, white

QUIET: Final = 4
"""Modules left white on every side.

Source:
    ISO/IEC 18004:2024, section 5.3.8.
"""
MOST_CHARACTERS: Final = 74
"""What a code of version 6 holds at level Q (ISO/IEC 18004:2024, table 7): more would make the modules too small to scan from paper."""
MOST_AT_M: Final = 106
"""The same at level M, for papers that stay clean."""

Level = Literal["M", "Q"]
"""How much of a code may be spoilt: 15 % or a quarter of its codewords."""
_levels: Final[dict[Level, tuple[int, int]]] = {
    "M": (QRErrorCorrectLevel.M, MOST_AT_M),
    "Q": (QRErrorCorrectLevel.Q, MOST_CHARACTERS),
}

Modules = tuple[tuple[bool, ...], ...]


@lru_cache(maxsize=1_024)
def modules(text: str, level: Level = "Q") -> Modules:
    """Return the rows of a code from the top, dark modules true, without the quiet zone.

    Raises:
        ValueError: The text is not of 1 to ``MOST_CHARACTERS``, or at level M ``MOST_AT_M``, printable ASCII characters.
    """
    correction, most = _levels[level]
    if not (text.isascii() and text.isprintable() and 0 < len(text) <= most):
        raise ValueError(f"a code holds 1 to {most} printable ASCII characters")
    code = QRCode(None, correction)
    code.addData(QR8bitByte(text))
    code.make()
    size = range(code.getModuleCount())
    return tuple(tuple(bool(code.isDark(row, column)) for column in size) for row in size)


def draw_code(
    canvas: Any,  # noqa: ANN401 - reportlab ships no types
    text: str,
    *,
    x: float,
    y: float,
    side: float,
    level: Level = "Q",
) -> None:
    """Draw a code into the square with its lower left corner at ``x``, ``y``; its quiet zone is part of ``side`` [pt]."""
    rows = modules(text, level)
    module = side / (len(rows) + 2 * QUIET)
    canvas.setFillColor(white)
    canvas.rect(x, y, side, side, stroke=0, fill=1)
    path = canvas.beginPath()
    for number, row in enumerate(rows):
        for start, end in _runs(row):
            left, low = x + (QUIET + start) * module, y + side - (QUIET + number + 1) * module
            path.rect(left, low, (end - start) * module, module)
    canvas.setFillColor(black)
    canvas.drawPath(path, stroke=0, fill=1)


def _runs(row: tuple[bool, ...]) -> list[tuple[int, int]]:
    """Return where the stretches of dark modules begin and end."""
    edges = [column for column in range(len(row) + 1) if (column < len(row) and row[column]) != (column > 0 and row[column - 1])]
    return list(zip(edges[::2], edges[1::2], strict=True))
