"""What is sealed is found whole by two programs, and any change of what the seal covers is found by both."""

from __future__ import annotations

import shutil
import subprocess
from datetime import timedelta, timezone
from io import BytesIO

import pypdf
import pytest
import tzlocal
from asn1crypto.parser import peek
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from api.seal_files import CertificateLapsed
from api.sealing import SPARE, Seal
from reports.inspection_file import inspection_file_pdf
from reports.permit_register import permit_register_pdf
from tests import makers
from tests.reports.makers import inspection_file, permit_line, permit_register
from tests.seals import PASSWORD, certificate_of, is_whole, key_of, seal_file

NOW = makers.NOON
CHECK_AT = "https://records.example/v/1-abcdefghjkmnpqrstuvw"


@pytest.fixture(scope="module")
def seal(tmp_path_factory):
    return Seal.read(seal_file(tmp_path_factory.mktemp("seal")), PASSWORD)


@pytest.fixture(scope="module")
def pdf():
    return permit_register_pdf(permit_register(permit_line(), check_at=CHECK_AT, sealed=True))


@pytest.fixture(scope="module")
def sealed(seal, pdf):
    return seal.sealed(pdf, at=NOW)


def pdfsig(folder, pdf):
    path = folder / "sealed.pdf"
    path.write_bytes(pdf)
    return subprocess.run(["pdfsig", path], capture_output=True, text=True, check=False).stdout


def test_a_receiver_with_the_certificate_finds_it_whole(seal, sealed):
    assert is_whole(sealed, seal.certificate)


def test_another_certificate_of_the_same_name_vouches_for_nothing(sealed):
    assert not is_whole(sealed, certificate_of(key_of(ec.SECP384R1)))


@pytest.mark.system("pdfsig")
def test_another_program_finds_it_whole_and_says_whose_it_is(tmp_path, sealed):
    said = pdfsig(tmp_path, sealed)

    assert said.count("Signature #") == 1
    for line in ("Seal of the tests", "ETSI.CAdES.detached", "SHA-256", "Total document signed", "Signature is Valid."):
        assert line in said


def test_sealing_adds_to_the_end_and_changes_nothing_before(pdf, sealed):
    assert sealed.startswith(pdf)
    assert len(sealed) < len(pdf) + 20_000


def places(sealed, pdf):
    """Return places all over a sealed file: in what was printed, in what the seal added, and in the seal itself."""
    seal = sealed.index(b"/Contents <", len(pdf)) + 40
    printed = [len(pdf) * part // 7 for part in range(7)]
    return [*printed, len(pdf) - 8, len(pdf) + 30, seal, sealed.index(b"/ByteRange", len(pdf)) + 14, len(sealed) - 30]


@pytest.mark.parametrize("number", range(12))
def test_one_changed_byte_is_found(seal, pdf, sealed, number):
    at = places(sealed, pdf)[number]
    changed = bytearray(sealed)
    changed[at] ^= 0x01

    assert not is_whole(bytes(changed), seal.certificate)


@pytest.mark.system("pdfsig")
def test_another_program_finds_a_changed_byte(tmp_path, pdf, sealed):
    changed = bytearray(sealed)
    changed[len(pdf) // 2] ^= 0x01

    assert "Digest Mismatch" in pdfsig(tmp_path, bytes(changed))


def revised(sealed):
    writer = IncrementalPdfFileWriter(BytesIO(sealed))
    writer.root["/Lang"] = generic.pdf_string("fr")
    writer.update_root()
    out = BytesIO()
    writer.write(out)
    return out.getvalue()


def test_an_appended_revision_is_found(seal, sealed):
    assert revised(sealed).startswith(sealed)
    assert not is_whole(revised(sealed), seal.certificate)
    assert not is_whole(sealed + b"\n", seal.certificate)


@pytest.mark.system("pdfsig")
def test_another_program_finds_an_appended_revision(tmp_path, sealed):
    assert "Total document signed" not in pdfsig(tmp_path, revised(sealed))


def test_a_file_that_was_never_sealed_is_not_whole(seal, pdf):
    assert not is_whole(pdf, seal.certificate)


def test_the_certificate_is_named_by_its_fingerprint(seal):
    assert seal.certificate_sha256 == seal.certificate.fingerprint(hashes.SHA256()).hex()


def test_nothing_is_sealed_with_a_certificate_that_is_not_good(tmp_path, pdf):
    ended = Seal.read(seal_file(tmp_path, certificate=certificate_of(key_of(), until_days=1)), PASSWORD)

    assert ended.sealed(pdf, at=NOW)
    with pytest.raises(CertificateLapsed, match="expired on 2026-03-02"):
        ended.sealed(pdf, at=NOW + timedelta(days=1, seconds=1))


def test_nothing_is_sealed_where_a_certificate_of_the_chain_has_lapsed(tmp_path, pdf):
    vouching = certificate_of(key_of(ec.SECP384R1), until_days=-1)
    ended = Seal.read(seal_file(tmp_path, chain=[vouching]), PASSWORD)

    with pytest.raises(CertificateLapsed, match="which vouches for the seal's, expired on 2026-02-28; whoever keeps"):
        ended.sealed(pdf, at=NOW)


@pytest.mark.parametrize("zone", ["CET-1CEST", "UTC0", "Pacific/Auckland", "no such zone"])
def test_the_time_in_the_seal_is_the_instant_of_issue_whatever_the_machine_says(seal, pdf, monkeypatch, zone):
    monkeypatch.setenv("TZ", zone)
    monkeypatch.setattr(tzlocal.unix, "_cache_tz", None)
    sealed = seal.sealed(pdf, at=NOW.astimezone(timezone(timedelta(hours=13))))
    [field] = pypdf.PdfReader(BytesIO(sealed)).get_fields().values()

    assert field["/V"]["/M"] == "D:20260301120000Z"
    assert pypdf.PdfReader(BytesIO(sealed)).metadata == pypdf.PdfReader(BytesIO(pdf)).metadata
    assert is_whole(sealed, seal.certificate)


def test_the_room_for_the_seal_is_hardly_larger_than_the_seal(pdf, sealed):
    start = sealed.index(b"/Contents <", len(pdf)) + len(b"/Contents <")
    content = bytes.fromhex(sealed[start : sealed.index(b">", start)].decode())

    assert SPARE - 9 <= len(content) - peek(content) <= SPARE + 9


def test_the_field_is_neither_shown_nor_printed_and_has_a_name_that_people_read(sealed):
    [page] = pypdf.PdfReader(BytesIO(sealed)).pages[:1]
    [field] = [one for one in map(pypdf.generic.IndirectObject.get_object, page["/Annots"]) if one["/Subtype"] == "/Widget"]

    hidden, printed = 1 << 1, 1 << 2
    assert (field["/F"] & hidden, field["/F"] & printed) == (hidden, 0)
    assert field["/Rect"] == [0, 0, 0, 0]
    assert field["/TU"] == "Seal of the installation that issued this file"


@pytest.mark.parametrize("paper", ["register", "file"])
def test_the_tree_of_a_sealed_paper_reads_as_before(seal, tmp_path, paper):
    if paper == "register":
        pdf = permit_register_pdf(permit_register(check_at=CHECK_AT, sealed=True))
    else:
        pdf = inspection_file_pdf(inspection_file(check_at=CHECK_AT, sealed=True))
    before, after = (pypdf.PdfReader(BytesIO(one)).trailer["/Root"] for one in (pdf, seal.sealed(pdf, at=NOW)))

    assert roles(after["/StructTreeRoot"]["/K"]) == roles(before["/StructTreeRoot"]["/K"])
    assert (after["/MarkInfo"]["/Marked"].value, after["/Lang"]) == (True, before["/Lang"])
    path = tmp_path / "sealed.pdf"
    path.write_bytes(seal.sealed(pdf, at=NOW))
    for tool, arguments in (("qpdf", ["--check", path]), ("pdfinfo", ["-struct", path])):
        if shutil.which(tool) is not None:
            done = subprocess.run([tool, *arguments], capture_output=True, text=True, check=False)
            assert (done.returncode, done.stderr) == (0, ""), done.stdout


def roles(node):
    kids = node.get("/K", [])
    inner = [kid.get_object() for kid in (kids if isinstance(kids, list) else [kids])]
    return [node["/S"], *(roles(one) for one in inner if isinstance(one, dict) and "/S" in one)]
