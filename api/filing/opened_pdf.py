"""A stranger's PDF is opened here, in a process of its own that may only read and compute: ``python -I opened_pdf.py NAME``.

The file comes on standard input. The answer on standard output is a line of JSON, ``{"refused": ...}`` or ``{"seal": ...,
"sealed_with": ...}``, and after the latter what the file has attached under ``NAME``. Only that is unpacked: other attachments, scripts
and actions stay bytes. No answer at all means that the file was too much, or made its reader fail.
"""

from __future__ import annotations

import io
import json
import logging
import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import suppress
from enum import StrEnum
from hashlib import sha256
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from pypdf import PdfReader

FILE_MOST: Final = 10_000_000
"""Of a file [bytes]."""
UNPACKED_MOST: Final = 4_000_000
"""Of the attachment, unpacked [bytes]."""
MEMORY_MOST: Final = 1_000_000_000
"""Of the process, all that it has mapped [bytes]."""
SECONDS_MOST: Final = 10
"""Of processor time."""
HANDLES_MOST: Final = 64
SIGNED_RANGE: Final = b"/ByteRange"
"""What every signature says of itself (ISO 32000-2, 12.8.1), outside of what is packed."""
FILTERS_MOST: Final = 4
"""Of one stream: each may make much of little again."""
NODES_MOST: Final = 10_000
"""Of the tree of attachments, and of the fields of a form; a paper of ours has one of each."""
_OUTWARDS = (
    "socket.connect",
    "socket.bind",
    "socket.sendto",
    "socket.getaddrinfo",
    "subprocess.",
    "os.system",
    "os.exec",
    "os.posix_spawn",
    "os.fork",
)
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


class Seal(StrEnum):
    """What is known of the seal of a file: whether it has one, and whether the file is as it was when it was sealed."""

    NONE = "none"
    INTACT = "intact"
    BROKEN = "broken"
    NOT_CHECKED = "not_checked"


class Why(StrEnum):
    """Why nothing is taken from a file."""

    ENCRYPTED = "encrypted"
    NOTHING = "nothing"
    SEVERAL = "several"
    TOO_LARGE = "too-large"
    UNREADABLE = "unreadable"


class NotTaken(Exception):  # noqa: N818 - an answer, not a defect
    """Nothing is taken from the file."""

    def __init__(self, why: Why) -> None:
        super().__init__(why.value)
        self.why = why


def main() -> None:
    """Answer for the file on standard input."""
    confine()
    content = b""
    try:
        pdf = sys.stdin.buffer.read(FILE_MOST + 1)
        reader = opened(pdf)
        content = attached(reader, name=sys.argv[1])
        seal, certificate = seal_of(pdf, reader)
        said: dict[str, str | None] = {"seal": seal.value, "sealed_with": certificate}
    except NotTaken as refused:
        said = {"refused": refused.why.value}
    except Exception:  # noqa: BLE001 - whatever the library makes of a hostile file
        said = {"refused": Why.UNREADABLE.value}
    sys.stdout.buffer.write(json.dumps(said).encode() + b"\n" + (b"" if "refused" in said else content))


def confine() -> None:
    """Leave this process no more than it needs to read and compute, as far as the system has such limits."""
    logging.disable()
    sys.addaudithook(_refuse_outwards)
    with suppress(ImportError):
        import resource  # noqa: PLC0415 - not every system has it

        for kind, most in (
            (resource.RLIMIT_AS, MEMORY_MOST),
            (resource.RLIMIT_CPU, SECONDS_MOST),
            (resource.RLIMIT_NOFILE, HANDLES_MOST),
            (resource.RLIMIT_FSIZE, 0),
            (resource.RLIMIT_CORE, 0),
        ):
            with suppress(ValueError, OSError):
                resource.setrlimit(kind, (most, most))


def _refuse_outwards(event: str, arguments: tuple[Any, ...]) -> None:
    """Refuse what reaches beyond this process, or writes."""
    writes = event == "open" and isinstance(arguments[2], int) and arguments[2] & _WRITING
    if writes or event.startswith(_OUTWARDS):
        raise PermissionError(event)


def opened(pdf: bytes) -> PdfReader:
    """Return a reader of a file that unpacks no more of anything than an attachment may have, and starts no other program.

    Raises:
        NotTaken: It is too large, or encrypted.
        Exception: Whatever the library makes of a damaged file.
    """
    from pypdf import Configuration, PdfReader, overwrite_configuration  # noqa: PLC0415 - this process alone loads it

    _refuse_large(pdf, most=FILE_MOST)
    lengths = {name: UNPACKED_MOST + 1 for name in Configuration.__dataclass_fields__ if name.endswith("maximum_output_length")}
    overwrite_configuration(Configuration(jbig2dec_binary=None, stream_filters_maximum_length=FILTERS_MOST, **lengths))  # type: ignore[arg-type]
    reader = PdfReader(io.BytesIO(pdf), strict=True)
    if reader.is_encrypted:
        raise NotTaken(Why.ENCRYPTED)
    return reader


def attached(reader: PdfReader, *, name: str) -> bytes:
    """Return what a file has attached under a name.

    Raises:
        NotTaken: Nothing or more than one thing is attached under the name, or that is too large.
        Exception: Whatever the library makes of a damaged file.
    """
    from pypdf.errors import LimitReachedError  # noqa: PLC0415

    found = [streams for names, streams in _specifications(_at(reader.trailer, "/Root", "/Names", "/EmbeddedFiles")) if name in names]
    if len(found) > 1 or any(one is not streams[0] for streams in found for one in streams):
        raise NotTaken(Why.SEVERAL)
    if not found or not found[0]:
        raise NotTaken(Why.NOTHING)
    try:
        content: bytes = found[0][0].get_data()
    except LimitReachedError:
        raise NotTaken(Why.TOO_LARGE) from None
    _refuse_large(content, most=UNPACKED_MOST)
    return content


def _refuse_large(content: bytes, *, most: int) -> None:
    if len(content) > most:
        raise NotTaken(Why.TOO_LARGE)


def _specifications(tree: Any) -> Iterator[tuple[set[str], list[Any]]]:  # noqa: ANN401 - any object of a PDF
    """Yield the attachments of a tree: under which names each is known, and its content as the reader's streams.

    Source:
        ISO 32000-2, 7.9.6 (name trees), 7.11.3 and 7.11.4 (file specifications and embedded files).
    """
    for node in _nodes([tree]):
        names = _plain(node.get("/Names")) or []
        for key, value in zip(names[::2], names[1::2], strict=True):
            said = _plain(value)
            known = {str(_plain(one)) for one in (key, said.get("/UF"), said.get("/F")) if one is not None}
            yield known, [one for name in ("/UF", "/F") if (one := _at(said, "/EF", name)) is not None]


def _nodes(roots: Iterable[Any]) -> Iterator[Any]:
    """Yield every node of trees once, given their roots.

    Raises:
        NotTaken: There are more than any honest file has.
    """
    waiting, seen = [_plain(one) for one in roots], dict[int, Any]()
    for _ in range(NODES_MOST):
        if not waiting:
            return
        node = waiting.pop()
        if isinstance(node, dict) and id(node) not in seen:
            seen[id(node)] = node
            yield node
            waiting += [_plain(one) for one in _plain(node.get("/Kids")) or []]
    raise NotTaken(Why.UNREADABLE)


def _at(found: Any, *path: str) -> Any:  # noqa: ANN401 - any object of a PDF
    """Return what lies under names within each other, ``None`` where nothing does."""
    for name in path:
        found = _plain(found.get(name)) if isinstance(found, dict) else None
    return found


def _plain(found: Any) -> Any:  # noqa: ANN401 - any object of a PDF
    """Return an object itself, where a reference stands for it; the null object is none."""
    from pypdf.generic import is_null_or_none  # noqa: PLC0415

    found = None if found is None else found.get_object()
    return None if is_null_or_none(found) else found


def seal_of(pdf: bytes, reader: PdfReader) -> tuple[Seal, str | None]:
    """Return what is known of a file's seal, and the SHA-256 of the certificate of one that is intact; whose that is, nobody says here.

    Intact means that every signature fits, that nothing was changed which they do not allow, that the last covers the file to its end, and
    that nothing but zeros lies behind a signature in the gap that it leaves for itself.
    """
    if not _is_signed(reader):
        # What says nothing of a seal and yet holds the bytes of one was changed, so that nobody looks.
        return (Seal.BROKEN if SIGNED_RANGE in pdf else Seal.NONE), None
    try:
        from pyhanko.pdf_utils.reader import PdfFileReader  # noqa: PLC0415 - an extra that need not be installed
        from pyhanko.sign.validation import ValidationContext, validate_pdf_signature  # type: ignore[attr-defined]  # noqa: PLC0415
        from pyhanko.sign.validation.status import SignatureCoverageLevel  # noqa: PLC0415
    except ImportError:
        return Seal.NOT_CHECKED, None
    try:
        signatures = PdfFileReader(io.BytesIO(pdf)).embedded_signatures
        known = ValidationContext(trust_roots=[], allow_fetching=False)
        found = [validate_pdf_signature(one, known) for one in signatures]
        fits = all(one.intact and one.valid and one.docmdp_ok for one in found) and all(_fills_its_gap(one, pdf) for one in signatures)
        if fits and found and found[-1].coverage is SignatureCoverageLevel.ENTIRE_FILE:
            return Seal.INTACT, sha256(found[-1].signing_cert.dump()).hexdigest()
    except Exception:  # noqa: BLE001 - a signature that cannot be looked at is none that fits
        return Seal.BROKEN, None
    return Seal.BROKEN, None


def _fills_its_gap(signature: Any, pdf: bytes) -> bool:  # noqa: ANN401 - the library ships no types
    """Return whether the gap in what a signature covers holds that signature in plain digits, and zeros.

    These bytes are under no digest, and whoever looks at the signature alone leaves out what lies behind it.

    Source:
        ISO 32000-2, 12.8.1 (the byte range leaves out the contents alone).
    """
    from asn1crypto.parser import peek  # noqa: PLC0415 - of the same extra

    start, length, resumes, _ = (int(one) for one in signature.byte_range)
    content: bytes = signature.pkcs7_content
    digits = f"<{content.hex()}>"
    return pdf[start + length : resumes] in (digits.encode(), digits.upper().encode()) and not any(content[peek(content) :])


def _is_signed(reader: PdfReader) -> bool:
    """Return whether a file says that it is signed.

    Source:
        ISO 32000-2, 12.7.5.5 (signature fields) and 12.8.6 (permissions).
    """
    catalog = _at(reader.trailer, "/Root")
    fields = _nodes(_at(catalog, "/AcroForm", "/Fields") or [])
    return _at(catalog, "/Perms", "/DocMDP") is not None or any(_at(node, "/V", "/ByteRange") is not None for node in fields)


if __name__ == "__main__":
    main()
