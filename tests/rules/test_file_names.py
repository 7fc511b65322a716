"""A file is shown and saved under a name: no place, nothing hidden, no device, and the suffix of what it is."""

from __future__ import annotations

import unicodedata
from pathlib import PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.rules.file_names import LONGEST, LONGEST_BYTES, kept_file_name

HOSTILE = {
    "../../etc/passwd": "passwd.pdf",
    "..\\..\\windows\\system32\\drivers\\etc\\hosts": "hosts.pdf",
    "/etc/shadow": "shadow.pdf",
    "C:\\Users\\kim\\scan.pdf": "scan.pdf",
    "\\\\server\\share\\scan.pdf": "scan.pdf",
    "..": "document.pdf",
    ".": "document.pdf",
    "": "document.pdf",
    "   ": "document.pdf",
    "....": "document.pdf",
    "/": "document.pdf",
    ".htaccess": "htaccess.pdf",
    ".pdf": "pdf.pdf",
    "~root": "root.pdf",
    "-rf": "rf.pdf",
    "--output=x": "output=x.pdf",
    "%2e%2e%2fetc%2fpasswd": "%2e%2e%2fetc%2fpasswd.pdf",
    "..%5c..%5cscan": "%5c..%5cscan.pdf",
    "scan\0.exe": "scan.exe.pdf",
    "scan.pdf\0.exe": "scan.pdf.exe.pdf",
    "a\r\nSet-Cookie: x=1": "a Set-Cookie_ x=1.pdf",
    'a"; filename="evil.exe': "a_; filename=_evil.exe.pdf",
    "a;b,c": "a;b,c.pdf",
    "CON": "_CON.pdf",
    "nul.txt": "_nul.txt.pdf",
    "com1": "_com1.pdf",
    "LPT\u00b9.log": "_LPT\u00b9.log.pdf",
    "aux .pdf": "_aux.pdf",
    "console": "console.pdf",
    "scan.pdf:stream": "scan.pdf_stream.pdf",
    "what?*<>|": "what_____.pdf",
    "invoice\u202efdp.exe": "invoicefdp.exe.pdf",
    "invoice\u2066.exe": "invoice.exe.pdf",
    "zero\u200bwidth": "zerowidth.pdf",
    "\ufeffscan": "scan.pdf",
    "half \ud800": "half.pdf",
    "trailing. . .": "trailing.pdf",
    "scan.PDF": "scan.pdf",
    "scan.pdf.html": "scan.pdf.html.pdf",
    "photo.jpeg": "photo.pdf",
    "Kröte 水龟 שלום.pdf": "Kröte 水龟 שלום.pdf",
    "cafe\u0301": "caf\u00e9.pdf",
    "line\u2028break": "linebreak.pdf",
    "tab\tand\x0bmore": "tab and more.pdf",
    "x" * 300: "x" * (LONGEST - 4) + ".pdf",
    "水" * 300: "水" * ((LONGEST_BYTES - 4) // 3) + ".pdf",
}

DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{port}{number}" for port in ("COM", "LPT") for number in range(10))}


@pytest.mark.parametrize(("said", "kept"), HOSTILE.items())
def test_a_hostile_name_becomes_a_plain_one(said, kept):
    assert kept_file_name(said, suffix=".pdf") == kept


@given(st.text(st.characters(), max_size=400), st.sampled_from([".pdf", ".jpg"]))
def test_whatever_was_said_the_name_is_a_name(said, suffix):
    kept = kept_file_name(said, suffix=suffix)

    assert kept.endswith(suffix)
    assert len(kept) <= LONGEST
    assert len(kept.encode()) <= LONGEST_BYTES
    assert {PurePosixPath(kept).name, PureWindowsPath(kept).name} == {kept}
    assert kept.partition(".")[0].strip().upper() not in DEVICES
    assert not kept.startswith((".", " ", "-", "~"))
    assert {unicodedata.category(one) for one in kept}.isdisjoint({"Cc", "Cf", "Cs", "Zl", "Zp"})


@given(st.text(st.characters(), max_size=200))
def test_a_kept_name_stays_as_it_is(said):
    kept = kept_file_name(said, suffix=".png")

    assert kept_file_name(kept, suffix=".png") == kept
