"""Pictures as they are kept: the picture alone, drawn again without anything that a camera or a program has written beside it.

Where and when it was taken, by which camera, comments, previews and whatever is appended are left out. What is needed to see it as it was
meant is kept: that it was held sideways (it is turned), its colour profile, and how many dots an inch has.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Mapping
from itertools import count
from threading import Lock
from typing import Any, BinaryIO

from PIL import ExifTags, Image, JpegImagePlugin, TiffImagePlugin, UnidentifiedImageError

from domain.errors import RuleBroken
from domain.records.documents import MediaType

PAGES_MOST = 500
OF_ALL_PAGES = 4
"""How many times the pixels of one picture all pages of a scan may have."""
QUALITY = 95
"""Of a compression that loses something, where the tables of the original are not known."""
FORMATS: Mapping[str, MediaType] = {
    "JPEG": MediaType.JPEG,
    "MPO": MediaType.JPEG,  # a JPEG with further views or previews behind it
    "PNG": MediaType.PNG,
    "WEBP": MediaType.WEBP,
    "TIFF": MediaType.TIFF,
}
_READERS = ("JPEG", "PNG", "WEBP", "TIFF")
_TURNS: Mapping[int, Image.Transpose] = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What brings a picture upright, by its orientation.

Source:
    TIFF 6.0 and Exif, tag 274 (Orientation).
"""
_RAW = frozenset({ExifTags.Base.SubIFDs, ExifTags.Base.DNGVersion})
"""Tags of what a camera's sensor saw: such a file begins like a TIFF, but the picture in it is a preview."""
_SAME_COMPRESSION = frozenset({"group3", "group4", "jpeg", "packbits", "tiff_adobe_deflate", "tiff_lzw"})
_turn = Lock()


def redrawn(file: BinaryIO, made: BinaryIO, *, most_pixels: int) -> MediaType | None:
    """Draw the picture in a file again into another file, and return what it is; ``None`` where the file is no picture that is taken.

    One at a time: a large picture takes several hundred megabytes.

    Raises:
        RuleBroken: It is damaged, has too many pixels, moves, or is what a camera's sensor saw.
    """
    with _turn, warnings.catch_warnings():
        # The library warns of what is odd in a picture; what matters of it is refused here.
        warnings.simplefilter("ignore")
        try:
            with Image.open(file, formats=_READERS) as picture:
                media = FORMATS[picture.format or ""]
                _DRAW[media](picture, made, most_pixels)
        except UnidentifiedImageError:
            return None
        except Image.DecompressionBombError:
            raise _too_large(most_pixels) from None
        except RuleBroken:
            raise
        except OSError as failed:
            if failed.errno is not None:
                raise
            raise _damaged() from None
        except Exception:  # noqa: BLE001 - whatever the library makes of a hostile picture
            raise _damaged() from None
        return media


def _jpeg(picture: Any, made: BinaryIO, most_pixels: int) -> None:  # noqa: ANN401 - the library's class of each format
    _refuse_too_large(picture, most_pixels)
    tables, sampling = picture.quantization, JpegImagePlugin.get_sampling(picture)
    plain, kept = _plain(picture)
    same = {"qtables": tables} if tables else {"quality": QUALITY}
    if sampling >= 0:
        same["subsampling"] = sampling
    plain.save(made, format="JPEG", **same, **kept)


def _png(picture: Any, made: BinaryIO, most_pixels: int) -> None:  # noqa: ANN401 - the library's class of each format
    _refuse_moving(picture)
    _refuse_too_large(picture, most_pixels)
    plain, kept = _plain(picture, "transparency")
    plain.save(made, format="PNG", **kept)


def _webp(picture: Any, made: BinaryIO, most_pixels: int) -> None:  # noqa: ANN401 - the library's class of each format
    _refuse_moving(picture)
    _refuse_too_large(picture, most_pixels)
    is_lossless = b"VP8L" in _webp_chunks(picture.fp)
    plain, kept = _plain(picture)
    kept.pop("dpi", None)
    plain.save(made, format="WEBP", lossless=is_lossless, quality=100 if is_lossless else QUALITY, method=0 if is_lossless else 4, **kept)


def _tiff(picture: Any, made: BinaryIO, most_pixels: int) -> None:  # noqa: ANN401 - the library's class of each format
    pixels = 0
    with TiffImagePlugin.AppendingTiffWriter(made) as writer:
        for page in _pages(picture):
            if not _RAW.isdisjoint(page.tag_v2):
                raise _refused("picture-raw", "This is what a camera's sensor saw, not a picture. Save it as a JPEG or TIFF and send that.")
            _refuse_too_large(page, most_pixels)
            pixels += page.width * page.height
            if pixels > OF_ALL_PAGES * most_pixels:
                raise _refused("picture-too-large", "The pages of this scan have too many pixels together. Send them in several files.")
            compression = page.info.get("compression")
            plain, kept = _plain(page)
            # A copy has no tags: the library would write those of the original again.
            kept["compression"] = compression if compression in _SAME_COMPRESSION else "tiff_adobe_deflate"
            plain.copy().save(writer, format="TIFF", **kept)
            writer.newFrame()


_DRAW: Mapping[MediaType, Callable[[Any, BinaryIO, int], None]] = {
    MediaType.JPEG: _jpeg,
    MediaType.PNG: _png,
    MediaType.WEBP: _webp,
    MediaType.TIFF: _tiff,
}


def _pages(picture: Any) -> Iterator[Any]:  # noqa: ANN401 - the library's class of each format
    for number in count():
        try:
            picture.seek(number)
        except EOFError:
            return
        if number == PAGES_MOST:
            raise _refused("picture-too-large", f"A scan may have at most {PAGES_MOST} pages. Send it in several files.")
        yield picture


def _plain(picture: Any, *more: str) -> tuple[Any, dict[str, Any]]:  # noqa: ANN401 - the library's class of each format
    """Return a picture upright and bare, and what is kept to see it as it was meant, as the library takes it when it saves."""
    picture.load()
    orientation = picture.getexif().get(ExifTags.Base.Orientation, 1)
    kept = {name: picture.info[name] for name in ("icc_profile", "dpi", *more) if picture.info.get(name) is not None}
    picture.info = {}
    turn = _TURNS.get(orientation)
    if turn is None:
        return picture, kept
    if orientation > 4 and "dpi" in kept:  # noqa: PLR2004 - from here on width and height change places
        kept["dpi"] = kept["dpi"][::-1]
    return picture.transpose(turn), kept


def _webp_chunks(file: BinaryIO) -> set[bytes]:
    """Return the kinds of the parts that a WebP has.

    Source:
        RFC 9649, section 2.3: each begins with four letters and its size, and is filled up to an even length.
    """
    found: set[bytes] = set()
    file.seek(12)
    while len(head := file.read(8)) == 8:  # noqa: PLR2004 - four letters and four bytes of size
        found.add(head[:4])
        size = int.from_bytes(head[4:], "little")
        file.seek(size + size % 2, 1)
    return found


def _refuse_too_large(picture: Any, most_pixels: int) -> None:  # noqa: ANN401 - the library's class of each format
    if picture.width * picture.height > most_pixels:
        raise _too_large(most_pixels)


def _refuse_moving(picture: Any) -> None:  # noqa: ANN401 - the library's class of each format
    if getattr(picture, "n_frames", 1) > 1:
        raise _refused("picture-moving", "This picture moves. Send the pictures that it is made of, or save one of them.")


def _too_large(most_pixels: int) -> RuleBroken:
    most = f"{most_pixels / 1_000_000:g}"
    return _refused("picture-too-large", f"This picture has more pixels than are taken: at most {most} million. Save it smaller.")


def _damaged() -> RuleBroken:
    return _refused("picture-damaged", "This picture cannot be read to its end; it may have been cut off on its way. Save it anew.")


def _refused(code: str, detail: str) -> RuleBroken:
    return RuleBroken(detail, code=code, field="file")
