"""Pictures and papers as cameras, scanners and programs make them, with ``CANARY`` in whatever can bear a text."""

from __future__ import annotations

import io
from typing import Any

from PIL import ExifTags, Image, ImageCms, PngImagePlugin, TiffImagePlugin

CANARY = "wallaby of 51.0447 N"
SIDEWAYS = 6
PDF = b"%PDF-1.7\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\nstartxref\n0\n%%EOF\n"


def drawn(width: int = 40, height: int = 20, mode: str = "RGB") -> Image.Image:
    """Return a red picture with a blue line along its upper edge."""
    made = Image.new("RGB", (width, height), (220, 20, 20))
    made.paste((20, 20, 220), (0, 0, width, height // 4))
    return made.convert(mode)


def exif(orientation: int = SIDEWAYS) -> Image.Exif:
    """Return what a telephone writes: how it was held, who made it, where it was, and a preview's address."""
    made = Image.Exif()
    made[ExifTags.Base.Orientation] = orientation
    made[ExifTags.Base.Make] = made[ExifTags.Base.Artist] = made[ExifTags.Base.ImageDescription] = CANARY
    made.get_ifd(ExifTags.IFD.GPSInfo).update({1: "N", 2: (51.0, 2.0, 41.0), 29: CANARY})
    made.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.UserComment] = f"ASCII\0\0\0{CANARY}".encode()
    return made


def profile() -> bytes:
    """Return a colour profile."""
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def jpeg(picture: Image.Image | None = None, **more: Any) -> bytes:
    """Return a photograph with EXIF, XMP, IPTC, a comment, a preview's worth of bytes behind its end, and a colour profile."""
    said = {"exif": exif(), "xmp": f"<x:xmpmeta>{CANARY}</x:xmpmeta>".encode(), "comment": CANARY.encode(), "quality": 90}
    file = io.BytesIO()
    (picture or drawn()).save(file, "JPEG", **{**said, "icc_profile": profile(), "dpi": (300, 150), **more})
    plain, resources = file.getvalue(), b"Photoshop 3.0\x008BIM\x04\x04" + CANARY.encode()
    return plain[:2] + b"\xff\xed" + (len(resources) + 2).to_bytes(2, "big") + resources + plain[2:] + b"PK\x03\x04" + CANARY.encode()


def png(picture: Image.Image | None = None, **more: Any) -> bytes:
    """Return a picture with text in every kind of chunk."""
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Author", CANARY)
    texts.add_text("Comment", CANARY, zip=True)
    texts.add_itxt("XML:com.adobe.xmp", CANARY)
    file = io.BytesIO()
    (picture or drawn()).save(file, "PNG", **{"pnginfo": texts, "exif": exif(), "icc_profile": profile(), "dpi": (72, 72), **more})
    return file.getvalue() + CANARY.encode()


def webp(picture: Image.Image | None = None, **more: Any) -> bytes:
    """Return a picture with EXIF and XMP."""
    file = io.BytesIO()
    (picture or drawn()).save(file, "WEBP", **{"exif": exif(), "xmp": CANARY.encode(), "icc_profile": profile(), **more})
    return file.getvalue()


def tiff(*pages: Image.Image, tags: dict[int, Any] | None = None, **more: Any) -> bytes:
    """Return a scan with XMP, IPTC and other tags on every page."""
    said = TiffImagePlugin.ImageFileDirectory_v2()
    for tag in (270, 305, 315):
        said[tag] = CANARY
    for tag in (700, 33723, 34377):
        said[tag] = CANARY.encode()
    for tag, value in (tags or {}).items():
        said[tag] = value
    first, *rest = pages or (drawn(),)
    file = io.BytesIO()
    first.save(file, "TIFF", **{"tiffinfo": said, "dpi": (300, 300), **more}, save_all=True, append_images=rest)
    return file.getvalue()


def opened(content: bytes) -> Image.Image:
    """Return a picture, read whole."""
    found = Image.open(io.BytesIO(content))
    found.load()
    return found
