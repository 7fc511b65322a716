"""The page about a paper that left the house: what is on record about it, and a place to compare a file with that in the browser.

It is whole in itself: no picture, script or style comes from anywhere else, and its policy lets nothing leave.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator, Sequence
from hashlib import sha256
from html import escape
from typing import Final

from api.bodies.papers import PaperCheck
from api.errors import Header
from reports.words import in_eights, plural

Rows = Sequence[tuple[str, str]]

STYLE: Final = """
:root { color-scheme: light dark; --ink: #16242c; --muted: #51616b; --ground: #fff; --line: #c3ccd2; --link: #0b5c8a; --alarm: #9c3a06; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e9eef1; --muted: #aab6bd; --ground: #12191d; --line: #46545c; --link: #8cc6ea; --alarm: #ffb28a; }
}
body { margin: 0 auto; max-width: 42rem; padding: 1rem; font: 1rem/1.5 system-ui, sans-serif; }
body { color: var(--ink); background: var(--ground); }
h1 { font-size: 1.5rem; line-height: 1.25; margin: 0.5rem 0; }
h2 { font-size: 1.125rem; margin: 2rem 0 0.5rem; }
dt { color: var(--muted); font-size: 0.875rem; margin-top: 0.75rem; }
dd { margin: 0; overflow-wrap: anywhere; }
code { font: 0.875rem/1.4 ui-monospace, monospace; overflow-wrap: anywhere; }
a { color: var(--link); }
:focus-visible, #place:focus-within { outline: 3px solid var(--link); outline-offset: 3px; }
#place { border: 2px dashed var(--line); border-radius: 0.25rem; padding: 1rem; }
#place.over { border-color: var(--link); }
label { display: block; margin-bottom: 0.5rem; }
input { max-width: 100%; font: inherit; }
#told { min-height: 1.5rem; font-weight: bold; overflow-wrap: anywhere; }
#told.other, .late { color: var(--alarm); font-weight: bold; }
footer { color: var(--muted); font-size: 0.875rem; margin-top: 2rem; border-top: 1px solid var(--line); }
"""
SAME: Final = "This is the file that was issued"
OTHER: Final = "This is another file, or it was changed since it was issued"
BY_HAND: Final = "compute the SHA-256 of the file in hand with a program of your own and compare all 64 digits with those on this page"
RULES_OF: Final = {
    "its_law": "Rules on record then, of the law and the kinds of documents that it is about",
    "all_on_record": "All rules on record then",
}
RECORD: Final = "Record: SHA-256 of its data as JSON, the same as that of the JSON file below; it is printed in the box at the paper's end"
SCRIPT: Final = (
    """
"use strict";
const place = document.getElementById("place");
const chosen = document.getElementById("file");
const told = document.getElementById("told");
const issued = new Map();
for (const one of document.querySelectorAll("[data-sha256]")) issued.set(one.dataset.sha256, one.dataset.form);

function say(text, kind) {
  told.textContent = text;
  told.className = kind;
}

let latest = 0;
async function compare(file) {
  const turn = ++latest;
  say("Reading the file.", "");
  try {
    const bytes = new Uint8Array(await crypto.subtle.digest("SHA-256", await file.arrayBuffer()));
    const digest = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
    if (turn !== latest) return;
    const form = issued.get(digest);
    if (form === undefined) say("{OTHER}. Its SHA-256 is " + digest + ".", "other");
    else say("{SAME}, as " + form + ".", "same");
  } catch {
    if (turn === latest) say("The file cannot be read here; {BY_HAND}.", "other");
  }
}

if (window.isSecureContext && window.crypto && crypto.subtle) {
  chosen.addEventListener("change", () => { if (chosen.files.length) compare(chosen.files[0]); });
  for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault());
  place.addEventListener("dragover", () => place.classList.add("over"));
  place.addEventListener("dragleave", () => place.classList.remove("over"));
  place.addEventListener("drop", (event) => {
    place.classList.remove("over");
    chosen.value = "";
    if (event.dataTransfer.files.length === 1) compare(event.dataTransfer.files[0]);
    else say("Drop one file at a time.", "other");
  });
} else {
  chosen.disabled = true;
  say("This page did not come over a secure connection, so that the browser computes nothing here: {BY_HAND}.", "other");
}
""".replace("{SAME}", SAME)
    .replace("{OTHER}", OTHER)
    .replace("{BY_HAND}", BY_HAND)
)


def source_of(text: str) -> str:
    """Return a script or style within a page as its policy names it."""
    return f"'sha256-{base64.b64encode(sha256(text.encode()).digest()).decode()}'"


POLICY: Final = (
    f"default-src 'none'; script-src {source_of(SCRIPT)}; style-src {source_of(STYLE)}; img-src data:; "
    "connect-src 'none'; object-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)
TOLD: Final[tuple[Header, ...]] = ((b"vary", b"Accept"), (b"x-robots-tag", b"noindex"))
HEADERS: Final[tuple[Header, ...]] = (*TOLD, (b"content-security-policy", POLICY.encode()))
MEDIA: Final = b"text/html; charset=utf-8"
_WEIGHT = re.compile(r";\s*q=([01](?:\.[0-9]{0,3})?)")


def wants_page(accept: str) -> bool:
    """Say whether whoever asks would rather have a page than JSON: who names HTML, as browsers do, and does not like JSON better."""
    page = _wish(accept, "text/html")
    return page > 0 and page >= _wish(accept, "application/json")


def _wish(accept: str, media: str) -> float:
    """Return how much an ``Accept`` header wishes for a media type that it names [0..1]; 0 where it does not."""
    named = [one for one in accept.lower().split(",") if one.partition(";")[0].strip() == media]
    weights = [_WEIGHT.search(one) for one in named]
    return max((float(found[1]) if found else 1.0 for found in weights), default=0.0)


def page_of(paper: PaperCheck) -> bytes:
    """Return the page about a paper."""
    return _page(f"{paper.title} {paper.paper_id}", "\n".join(_parts(paper)), script=SCRIPT)


def no_such_page() -> bytes:
    """Return the page for a number that leads to nothing; it does not say why."""
    said = "<h1>There is no such paper</h1>\n<p>Look at the number once more: every letter counts. Else ask whoever gave you the paper.</p>"
    return _page("There is no such paper", said, script="")


def refused_page(title: str, detail: str, *, wait_s: str | None) -> bytes:
    """Return the page for what cannot be answered now; ``wait_s`` is after how many seconds to come again."""
    again = "" if wait_s is None else f"<p>Load this page again in {escape(wait_s)} s.</p>\n"
    said = f"<h1>{escape(title)}</h1>\n<p>{escape(detail)}</p>\n{again}<p>This says nothing about the paper.</p>"
    return _page(title, said, script="")


def _page(title: str, body: str, *, script: str) -> bytes:
    ending = f"<script>{script}</script>\n" if script else ""
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n<meta name="robots" content="noindex">\n'
        f'<title>{escape(title)}</title>\n<link rel="icon" href="data:,">\n<style>{STYLE}</style>\n</head>\n'
        f"<body>\n<main>\n{body}\n</main>\n{ending}</body>\n</html>\n"
    ).encode()


def _parts(paper: PaperCheck) -> Iterator[str]:
    yield f"<h1>{escape(paper.title)}</h1>"
    yield f"<p>A paper with the number <code>{escape(paper.paper_id)}</code> was issued. This is what is on record about it.</p>"
    if paper.superseded_by is not None:
        link = f'<a href="{escape(paper.superseded_by)}">what is on record about the later one</a>'
        yield f'<p class="late">A later paper about the same was issued since: {link}.</p>'
    yield _listed(_facts(paper))
    yield "<h2>Is the file in hand the one that was issued?</h2>"
    yield (
        '<div id="place">\n<label for="file">Choose the file, or drop it here. It stays where it is: nothing is sent.</label>\n'
        '<input id="file" type="file">\n</div>\n<p id="told" role="status" aria-live="polite"></p>\n'
        f"<noscript><p>Without scripts nothing is compared here: {BY_HAND}.</p></noscript>\n"
        "<p>A print, a scan or a photograph has no fingerprint and cannot be compared.</p>"
    )
    yield "<h2>Fingerprints of the files (SHA-256)</h2>"
    yield "<dl>\n" + "\n".join(_fingerprint(one.form, one.sha256) for one in paper.files) + "\n</dl>"
    yield (
        "<footer>\n<p>See that the address of this page is that of whoever issued the paper: another page could say anything. A file that "
        f"is unchanged is as it was issued; what it says need not be so any more.</p>\n<p>{escape(paper.disclaimer)}</p>\n</footer>"
    )


def _facts(paper: PaperCheck) -> Rows:
    rules = "<br>".join(f"edition {escape(one.edition)} of {plural(one.packs, 'rule pack')}" for one in paper.rules)
    sealed = (
        "by nobody: the file bears no seal"
        if paper.sealed_with is None
        else f"by the key whose certificate has the SHA-256 <code>{escape(paper.sealed_with)}</code>"
    )
    return (
        ("Issued", f"{paper.issued_at:%Y-%m-%d %H:%M:%S} UTC"),
        ("As of", paper.as_of.isoformat()),
        (RULES_OF[paper.rules_of], rules or "none"),
        (RECORD, f"<code>{escape(in_eights(paper.record_hash))}</code>"),
        ("Sealed", sealed),
    )


def _listed(rows: Rows) -> str:
    return "<dl>\n" + "\n".join(f"<dt>{name}</dt>\n<dd>{value}</dd>" for name, value in rows) + "\n</dl>"


def _fingerprint(form: str, digest: str) -> str:
    form, digest = escape(form.upper()), escape(digest)
    return f'<dt>{form}</dt>\n<dd><code data-form="{form}" data-sha256="{digest}">{digest}</code></dd>'
