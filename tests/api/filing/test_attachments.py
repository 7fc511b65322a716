"""A stranger's PDF is opened apart: what is attached under one name comes out, and whatever else it holds or does stays there."""

from __future__ import annotations

import io
import json
import resource
import subprocess
import sys
import zlib
from time import monotonic

import pytest
from pypdf import PdfReader, PdfWriter
from pypdf.generic import ArrayObject, DictionaryObject, NameObject, NumberObject, StreamObject, TextStringObject

from api import sealing
from api.filing import opened_pdf
from api.filing.attachments import attachment_in
from api.filing.opened_pdf import FILE_MOST, NODES_MOST, UNPACKED_MOST, Seal
from domain.errors import RuleBroken
from reports.transfer_file.sheet import ATTACHMENT_NAME
from tests import makers
from tests.pictures import png
from tests.seals import PASSWORD, certificate_of, key_of, seal_file
from tests.transfer_files import file_of, pdf_with

CONTENT = b'{"form":"a form"}'


def found(pdf):
    return attachment_in(pdf, name=ATTACHMENT_NAME)


def refused(pdf):
    """Return why nothing is taken from a file."""
    with pytest.raises(RuleBroken) as caught:
        found(pdf)
    assert [one.pointer for one in caught.value.faults] == ["/document_id"]
    return caught.value.code


def attached_as(stream, *names):
    """Return what puts a stream of one's own into the tree of attachments."""

    def put(writer):
        reference = writer._add_object(stream)
        file = DictionaryObject({NameObject("/F"): reference})
        said = DictionaryObject({NameObject("/Type"): NameObject("/Filespec"), NameObject("/EF"): file})
        entries = [one for name in names for one in (TextStringObject(name), writer._add_object(said))]
        set_tree(writer, DictionaryObject({NameObject("/Names"): ArrayObject(entries)}))

    return put


def set_tree(writer, tree):
    reference = writer._add_object(tree)
    writer._root_object[NameObject("/Names")] = DictionaryObject({NameObject("/EmbeddedFiles"): reference})
    return reference


def packed(raw, *filters):
    stream = StreamObject()
    stream._data = raw
    stream[NameObject("/Filter")] = ArrayObject([NameObject(one) for one in filters])
    return stream


def test_what_is_attached_under_the_name_comes_out_and_no_seal_is_none():
    one = found(pdf_with((ATTACHMENT_NAME, CONTENT), ("setup.exe", b"MZ"), ("another.json", b"{}")))

    assert (one.content, one.seal, one.sealed_with) == (CONTENT, Seal.NONE, None)


def test_an_attachment_may_be_as_large_as_is_said_and_no_larger():
    whole = b" " * UNPACKED_MOST

    assert found(pdf_with((ATTACHMENT_NAME, whole))).content == whole
    assert refused(pdf_with((ATTACHMENT_NAME, whole + b" "))) == "file-too-large"
    assert refused(pdf_with((ATTACHMENT_NAME, b" " * 5_000_000))) == "file-too-large"
    assert refused(pdf_with((ATTACHMENT_NAME, CONTENT)) + b" " * FILE_MOST) == "file-too-large"


def test_a_packed_attachment_of_a_few_kilobytes_is_not_unpacked_to_two_gigabytes():
    packer = zlib.compressobj(9)
    head, piece = packer.compress(b""), packer.compress(bytes(1 << 24)) + packer.flush(zlib.Z_FULL_FLUSH)
    # What was flushed can be said again and again.
    bomb = zlib.compress(head + 128 * piece, 9)
    began = monotonic()

    code = refused(pdf_with(also=attached_as(packed(bomb, "/FlateDecode", "/FlateDecode"), ATTACHMENT_NAME)))

    assert len(bomb) < 20_000
    assert code == "file-too-large"
    assert monotonic() - began < 5


def test_a_stream_that_is_packed_over_and_over_is_refused():
    raw = CONTENT
    for _ in range(9):
        raw = zlib.compress(raw)

    assert refused(pdf_with(also=attached_as(packed(raw, *["/FlateDecode"] * 9), ATTACHMENT_NAME))) == "file-too-large"


@pytest.mark.parametrize("password", ["", "secret"])
def test_an_encrypted_file_is_refused(password):
    pdf = pdf_with((ATTACHMENT_NAME, CONTENT), also=lambda writer: writer.encrypt(password, "owner", algorithm="AES-256"))

    assert refused(pdf) == "pdf-encrypted"


def test_two_of_the_name_are_refused_and_so_are_one_that_hides_behind_another_name():
    assert refused(pdf_with((ATTACHMENT_NAME, CONTENT), (ATTACHMENT_NAME, b"{}"))) == "attached-twice"

    def hidden(writer):
        other = writer.add_attachment("harmless.txt", b"{}")
        other.pdf_object[NameObject("/UF")] = TextStringObject(ATTACHMENT_NAME)

    assert refused(pdf_with((ATTACHMENT_NAME, CONTENT), also=hidden)) == "attached-twice"


def test_one_entry_with_two_contents_is_refused():
    def doubled(writer):
        made = writer.add_attachment(ATTACHMENT_NAME, CONTENT)
        other = StreamObject()
        other._data = b"{}"
        made.pdf_object["/EF"][NameObject("/UF")] = writer._add_object(other)

    assert refused(pdf_with(also=doubled)) == "attached-twice"


def test_a_file_without_one_is_no_transfer_file():
    assert refused(pdf_with()) == "no-transfer-file"
    assert refused(pdf_with(("transfer-file.json.exe", CONTENT))) == "no-transfer-file"
    assert refused(pdf_with(also=lambda writer: set_tree(writer, DictionaryObject()))) == "no-transfer-file"


def test_a_tree_of_attachments_that_contains_itself_comes_to_an_end():
    def circular(writer):
        attached_as(packed(zlib.compress(CONTENT), "/FlateDecode"), ATTACHMENT_NAME)(writer)
        reference = writer._root_object["/Names"].raw_get("/EmbeddedFiles")
        reference.get_object()[NameObject("/Kids")] = ArrayObject([reference, reference])

    assert found(pdf_with(also=circular)).content == CONTENT


def test_a_tree_of_more_nodes_than_any_honest_file_has_is_refused():
    def wide(writer):
        kids = [DictionaryObject() for _ in range(NODES_MOST + 1)]
        set_tree(writer, DictionaryObject({NameObject("/Kids"): ArrayObject(kids)}))

    assert refused(pdf_with(also=wide)) == "pdf-unreadable"


def test_a_tree_of_something_else_is_refused():
    def odd(writer):
        set_tree(writer, DictionaryObject({NameObject("/Names"): ArrayObject([TextStringObject("x")])}))

    def numbers(writer):
        set_tree(writer, DictionaryObject({NameObject("/Names"): ArrayObject([NumberObject(1), NumberObject(2)])}))

    assert {refused(pdf_with(also=one)) for one in (odd, numbers)} == {"pdf-unreadable"}


def with_object_streams(holds):
    """Return a PDF whose catalog is in an object stream; ``holds`` says of each stream in which stream it lies itself."""
    body, offsets = bytearray(b"%PDF-1.7\n"), {}
    for number in holds:
        inner = b"1 0 <</Type/Catalog>>"
        offsets[number] = len(body)
        body += b"%d 0 obj<</Type/ObjStm/N 1/First 4/Length %d>>stream\n%s\nendstream endobj\n" % (number, len(inner), inner)
    rows = [(0, 0, 65535), (2, next(iter(holds)), 0), *((2, within, 0) for within in holds.values())]
    at = len(body)
    table = b"".join(bytes((kind,)) + second.to_bytes(2, "big") + third.to_bytes(2, "big") for kind, second, third in rows)
    own = 2 + len(holds)
    body += b"%d 0 obj<</Type/XRef/W[1 2 2]/Size %d/Index[0 %d]/Root 1 0 R/Length %d>>stream\n" % (own, own + 1, len(rows), len(table))
    return bytes(body) + table + b"\nendstream endobj\nstartxref\n%d\n%%%%EOF\n" % at


@pytest.mark.parametrize("holds", [{2: 2}, {2: 3, 3: 2}, {2: 3, 3: 4, 4: 2}])
def test_object_streams_that_lie_within_each_other_come_to_an_end(holds):
    began = monotonic()

    assert refused(with_object_streams(holds)) == "pdf-unreadable"
    assert monotonic() - began < 5


def test_what_is_no_pdf_or_only_half_of_one_is_refused():
    whole = file_of()

    assert refused(png()) == "pdf-unreadable"
    assert refused(b"") == "pdf-unreadable"
    assert refused(b"%PDF-1.7\n" + bytes(1000) + b"\n%%EOF\n") == "pdf-unreadable"
    assert {refused(whole[: len(whole) * part // 5]) for part in range(1, 5)} == {"pdf-unreadable"}


WATCHED = """
import atexit, os, runpy, sys
writes = os.O_WRONLY | os.O_RDWR | os.O_CREAT
def seen(event, arguments):
    if event.startswith(("socket.", "subprocess.", "os.", "shutil.", "ctypes.")) and event not in {"os.listdir", "os.putenv"}:
        told.append(event)
    if event == "open" and isinstance(arguments[2], int) and arguments[2] & writes:
        told.append(f"open {arguments[0]}")
told = []
import pypdf, pypdf.generic
sys.addaudithook(seen)
sys.argv = sys.argv[1:]
runpy.run_path(sys.argv[0], run_name="__main__")
sys.stderr.write(",".join(told))
"""


def test_scripts_and_actions_beside_it_are_never_run_and_nothing_is_written_or_called(tmp_path):
    def armed(writer):
        launch = {"/S": NameObject("/Launch"), "/F": TextStringObject("/bin/touch launched"), "/Win": TextStringObject("calc.exe")}
        script = {"/S": NameObject("/JavaScript"), "/JS": TextStringObject("app.launchURL('http://127.0.0.1:9/')")}
        for key, action in (("/OpenAction", launch), ("/AA", {"/WC": DictionaryObject({NameObject(k): v for k, v in script.items()})})):
            writer._root_object[NameObject(key)] = DictionaryObject({NameObject(name): value for name, value in action.items()})

    pdf = pdf_with((ATTACHMENT_NAME, CONTENT), ("run.sh", b"#!/bin/sh\ntouch run\n"), ("setup.exe", b"MZ" * 99), also=armed)
    command = [sys.executable, "-I", "-B", "-c", WATCHED, opened_pdf.__file__, ATTACHMENT_NAME]

    done = subprocess.run(command, input=pdf, capture_output=True, cwd=tmp_path, check=True)

    assert done.stdout.partition(b"\n")[2] == CONTENT
    assert done.stderr == b""
    assert list(tmp_path.iterdir()) == []
    assert found(pdf).content == CONTENT


def confined(*lines):
    """Return what a program says that runs confined as the reader of PDFs does."""
    program = "\n".join(("import runpy, sys", f"runpy.run_path({opened_pdf.__file__!r})['confine']()", *lines))
    return subprocess.run([sys.executable, "-I", "-B", "-c", program], capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    "act",
    [
        "open('made', 'w')",
        "import os; os.open('made', os.O_CREAT)",
        "import subprocess; subprocess.run(['true'])",
        "import os; os.system('true')",
        "import os; os.fork()",
        "import socket; socket.socket().connect(('127.0.0.1', 9))",
        "import socket; socket.getaddrinfo('localhost', 9)",
    ],
)
def test_the_reader_cannot_write_call_or_start_anything(act):
    done = confined(act)

    assert "PermissionError" in done.stderr
    assert done.returncode == 1


def test_the_reader_has_no_more_memory_and_time_than_it_is_given():
    limits = ("RLIMIT_AS", "RLIMIT_CPU", "RLIMIT_FSIZE", "RLIMIT_CORE")

    told = confined("import json, resource", f"print(json.dumps([resource.getrlimit(getattr(resource, n)) for n in {limits!r}]))")

    most = [opened_pdf.MEMORY_MOST, opened_pdf.SECONDS_MOST, 0, 0]
    assert json.loads(told.stdout) == [[one, one] for one in most]
    assert "MemoryError" in confined("bytes(2_000_000_000)").stderr
    assert resource.getrlimit(resource.RLIMIT_FSIZE) != (0, 0)


def test_a_reader_that_takes_too_long_is_ended_and_its_file_is_unreadable():
    with pytest.raises(RuleBroken) as caught:
        attachment_in(pdf_with((ATTACHMENT_NAME, CONTENT)), name=ATTACHMENT_NAME, within_s=0.01)

    assert caught.value.code == "pdf-unreadable"


# ------------------------------------------------------------------------------------------------------------- the seal


@pytest.fixture(scope="module")
def press(tmp_path_factory):
    """Return somebody's seal, whose certificate outlives these tests."""
    certificate = certificate_of(key_of(), until_days=36_500)
    return sealing.Seal.read(seal_file(tmp_path_factory.mktemp("seal"), certificate=certificate), PASSWORD)


@pytest.fixture(scope="module")
def sealed(press):
    """Return a transfer file that is sealed."""
    return press.sealed(file_of(), at=makers.NOON)


def test_a_file_that_is_as_it_was_sealed_says_with_which_certificate(sealed, press):
    one = found(sealed)

    assert (one.seal, one.sealed_with) == (Seal.INTACT, press.certificate_sha256)
    assert one.content == found(file_of()).content


@pytest.mark.parametrize("part", [0.1, 0.3, 0.5])
def test_one_byte_that_was_changed_since_it_was_sealed_is_found(sealed, part):
    text = sealed[: int(len(file_of()) * part)]
    place = max(text.rfind(b"200"), text.rfind(b"MediaBox"), text.rfind(b"Producer"))
    changed = sealed[:place] + bytes((sealed[place] ^ 1,)) + sealed[place + 1 :]

    assert refused(changed) in {"seal-broken", "pdf-unreadable", "no-transfer-file"}


def gap_of(sealed):
    start = sealed.rindex(b"/Contents <") + len(b"/Contents ")
    return start, sealed.index(b">", start) + 1


@pytest.mark.parametrize("digit", [1, 2, 9])
def test_what_is_put_behind_the_seal_within_its_own_gap_is_found(sealed, digit):
    _, end = gap_of(sealed)
    changed = bytearray(sealed)
    changed[end - 1 - digit] = ord("7")

    assert refused(bytes(changed)) == "seal-broken"


def test_the_seal_written_in_other_digits_is_found(sealed):
    start, end = gap_of(sealed)
    one = next(place for place in range(start, end) if sealed[place : place + 1] in b"ABCDEF")

    assert refused(sealed[:one] + sealed[one : one + 1].lower() + sealed[one + 1 :]) == "seal-broken"


def test_an_attachment_that_was_changed_since_is_found(sealed):
    """The attachment lies there as it is: one digit of it is another, and the file reads on."""
    place = sealed.index(b'"mass_g":1510.5') + len(b'"mass_g":')
    changed = sealed[:place] + b"9" + sealed[place + 1 :]

    assert refused(changed) == "seal-broken"


def test_what_was_added_behind_the_seal_is_found(sealed):
    assert refused(sealed + b"% a remark\n" + sealed[sealed.rindex(b"startxref") :]) == "seal-broken"

    writer = PdfWriter(PdfReader(io.BytesIO(sealed)), incremental=True)
    writer.add_metadata({"/Title": "another"})
    made = io.BytesIO()
    writer.write(made)
    assert refused(made.getvalue()) == "seal-broken"


def test_a_seal_whose_field_was_taken_out_is_no_whole_one(sealed):
    writer = PdfWriter(PdfReader(io.BytesIO(sealed)), incremental=True)
    del writer._root_object["/AcroForm"]
    made = io.BytesIO()
    writer.write(made)

    assert refused(made.getvalue()) == "seal-broken"


def test_a_seal_that_was_hidden_and_the_attachment_changed_is_found(sealed):
    """A revision behind the seal takes the seal out of the catalogue, so that no reader looks for one."""
    writer = PdfWriter(PdfReader(io.BytesIO(sealed)), incremental=True)
    for name in ("/AcroForm", "/Perms"):
        del writer._root_object[name]
    made = io.BytesIO()
    writer.write(made)

    assert refused(made.getvalue()) == "seal-broken"


def test_a_field_with_a_text_is_no_signature():
    def form(writer):
        field = DictionaryObject({NameObject("/FT"): NameObject("/Tx"), NameObject("/V"): TextStringObject("filled in")})
        fields = DictionaryObject({NameObject("/Fields"): ArrayObject([writer._add_object(field)])})
        writer._root_object[NameObject("/AcroForm")] = fields

    assert found(pdf_with((ATTACHMENT_NAME, CONTENT), also=form)).seal is Seal.NONE
