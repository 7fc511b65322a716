"""The page about a paper: whole in itself, for everybody's eyes and ears, and what its script finds."""

from __future__ import annotations

import base64
import json
import re
import subprocess
from hashlib import sha256
from html.parser import HTMLParser

import pytest

from api.bodies.papers import FileDigest, PaperCheck, RulesEdition
from api.paper_page import BY_HAND, OTHER, POLICY, SAME, SCRIPT, STYLE, no_such_page, page_of
from domain.rules.law.decision import DISCLAIMER
from tests import makers

CONTENT = b"%PDF what was issued"
DIGEST = sha256(CONTENT).hexdigest()
NUMBER = "1-abcdefghjkmnpqrstuvw"


def paper(**stated):
    files = [FileDigest(form="csv", sha256="1" * 64), FileDigest(form="pdf", sha256=DIGEST)]
    basic = {"paper_id": NUMBER, "kind": "permit-register", "title": "Permit register", "issued_at": makers.NOON, "as_of": "2026-02-28"}
    digests = {"record_hash": "2" * 64, "sha256": DIGEST, "files": files, "sealed_with": None, "superseded_by": None}
    return PaperCheck(**{**basic, **digests, "rules": [], "rules_of": "its_law", "disclaimer": DISCLAIMER, **stated})


def edition(named, *, packs=1):
    return RulesEdition(edition=named, packs=packs)


class Page(HTMLParser):
    """The elements of a page, and the text within each script and style."""

    def __init__(self, content):
        super().__init__()
        self.elements, self.within, self.raw, self.text = [], [], {}, ""
        self.feed(content.decode())
        assert self.within == []

    def handle_starttag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))
        if tag not in {"meta", "link", "input", "br"}:
            self.within.append(tag)

    def handle_endtag(self, tag):
        assert self.within.pop() == tag

    def handle_data(self, text):
        if self.within and self.within[-1] in {"script", "style"}:
            self.raw[self.within[-1]] = self.raw.get(self.within[-1], "") + text
        else:
            self.text += text

    def all(self, tag):
        return [attributes for name, attributes in self.elements if name == tag]


def named(policy, directive):
    [found] = [one for one in policy.split("; ") if one.startswith(f"{directive} ")]
    return found.split()[1:]


def fingerprint(text):
    return f"'sha256-{base64.b64encode(sha256(text.encode()).digest()).decode()}'"


@pytest.mark.parametrize("content", [page_of(paper()), no_such_page()], ids=["paper", "none"])
def test_the_policy_lets_run_what_is_in_the_page_and_nothing_else(content):
    raw = Page(content).raw

    assert named(POLICY, "script-src") == [fingerprint(SCRIPT)]
    assert named(POLICY, "style-src") == [fingerprint(STYLE)] == [fingerprint(raw["style"])]
    assert raw.get("script") in {SCRIPT, None}
    for directive in ("default-src", "connect-src", "object-src", "frame-ancestors", "base-uri", "form-action"):
        assert named(POLICY, directive) == ["'none'"]


@pytest.mark.parametrize("content", [page_of(paper()), no_such_page()], ids=["paper", "none"])
def test_nothing_comes_from_elsewhere_and_nothing_is_written_into_attributes(content):
    elements = Page(content).elements

    assert {value for _, attributes in elements for name, value in attributes.items() if name in {"src", "href", "action"}} == {"data:,"}
    assert {name for _, attributes in elements for name in attributes if name.startswith("on") or name == "style"} == set()
    assert not {"form", "iframe", "img", "object"} & {tag for tag, _ in elements}
    assert re.findall("url\\(|@import|https?:", content.decode()) == []


def test_every_id_that_the_script_uses_is_there_once():
    ids = [attributes["id"] for _, attributes in Page(page_of(paper())).elements if "id" in attributes]

    assert sorted(ids) == sorted(set(re.findall(r'getElementById\("(\w+)"\)', SCRIPT)))


def test_the_page_is_for_those_who_listen_and_those_with_a_small_screen():
    page = Page(page_of(paper()))
    [html], [chosen], [label] = page.all("html"), page.all("input"), page.all("label")
    [told] = [attributes for _, attributes in page.elements if "aria-live" in attributes]

    assert html["lang"] == "en"
    assert (label["for"], chosen["type"], told["role"], told["aria-live"]) == (chosen["id"], "file", "status", "polite")
    assert {"name": "viewport", "content": "width=device-width, initial-scale=1"} in page.all("meta")
    assert len(page.all("h1")) == len(page.all("main")) == len(page.all("title")) == 1
    assert ":focus-visible" in STYLE
    assert "overflow-wrap: anywhere" in STYLE
    assert not re.search(r"(?<!max-)(?<!min-)width: *[0-9]+px", STYLE)


def test_who_has_no_script_is_told_how_to_compare():
    page = page_of(paper()).decode()

    assert BY_HAND in page.partition("<noscript>")[2].partition("</noscript>")[0]
    assert DIGEST in Page(page.encode()).text


def test_it_says_that_it_is_no_advice_and_what_a_print_is_good_for():
    text = Page(page_of(paper())).text

    assert DISCLAIMER in text
    assert "A print, a scan or a photograph has no fingerprint" in text
    assert "nothing is sent" in text


def test_rules_and_the_seal_are_shown():
    shown = paper(rules=[edition("2026-01"), edition("3")], sealed_with="9" * 64)
    text = Page(page_of(shown)).text

    assert [one in text for one in ("edition 2026-01 of 1 rule pack", "edition 3 of 1 rule pack", "9" * 64)] == [True] * 3
    assert "bears no seal" not in text


def test_an_edition_of_several_packs_is_shown_once_with_their_number():
    text = Page(page_of(paper(rules=[edition("2026.1", packs=3)]))).text

    assert text.count("2026.1") == 1
    assert "edition 2026.1 of 3 rule packs" in text


@pytest.mark.parametrize(
    ("rules_of", "said"),
    [("its_law", "of the law and the kinds of documents that it is about"), ("all_on_record", "All rules on record then")],
)
def test_it_says_whether_the_rules_are_those_behind_the_paper_or_all(rules_of, said):
    assert said in Page(page_of(paper(rules=[edition("3")], rules_of=rules_of))).text


def test_the_record_hash_is_grouped_as_it_is_printed_and_what_it_is_of_is_said():
    text = Page(page_of(paper())).text

    assert " ".join(["22222222"] * 8) in text
    assert "the same as that of the JSON file below" in text


def test_what_is_on_record_is_shown_and_never_run():
    hostile = "</title><script>alert(1)</script>\"'><img src=x onerror=alert(1)>&amp;"
    shown = paper(title=hostile, rules=[edition(hostile)], files=[FileDigest(form=hostile, sha256=hostile)])
    page = Page(page_of(shown))

    assert (len(page.all("script")), page.all("img")) == (1, [])
    assert page.text.count(hostile) == 4


BROWSER = """
const [script, files, chosen, secure] = JSON.parse(require("fs").readFileSync(0, "utf8"));
const made = {};
const element = () => ({ heard: {}, dataset: {}, textContent: "", className: "", disabled: false, files: [],
  classList: { add() {}, remove() {} }, addEventListener(kind, hear) { this.heard[kind] = hear; } });
const document = { getElementById: (id) => made[id] ??= element(), querySelectorAll: () => files.map((one) => ({ dataset: one })) };
const window = { ...element(), isSecureContext: secure, crypto: secure ? crypto : undefined };
new Function("document", "window", "crypto", script)(document, window, crypto);
const file = chosen === null ? { arrayBuffer: async () => { throw new Error("unreadable"); } } : new Blob([Buffer.from(chosen, "hex")]);
const bare = { preventDefault() {}, dataTransfer: { files: [file] } };
(async () => {
  if (made.file.heard.change) {
    made.file.files = [file];
    made.file.heard.change();
    await new Promise((done) => setTimeout(done, 50));
    const first = made.told.textContent;
    made.told.textContent = "";
    made.place.heard.drop(bare);
    await new Promise((done) => setTimeout(done, 50));
    if (first !== made.told.textContent) throw new Error("a file that is dropped is told of otherwise than one that is chosen");
  }
  console.log(JSON.stringify([made.told.textContent, made.told.className, made.file.disabled]));
})();
"""
"""As much of a browser as the page's script asks for."""


RACE = (
    BROWSER.split("(async", maxsplit=1)[0]
    + """(async () => {
  const late = { arrayBuffer: () => new Promise((done) => setTimeout(() => done(Buffer.from(chosen, "hex")), 60)) };
  made.place.heard.drop({ dataTransfer: { files: [late] } });
  made.place.heard.drop({ dataTransfer: { files: [new Blob(["forged"])] } });
  await new Promise((done) => setTimeout(done, 200));
  console.log(JSON.stringify([made.told.textContent, made.told.className, false]));
})();
"""
)
"""The issued file, which takes long to read, and then another that is read at once."""


def told(chosen, *, secure=True, browser=BROWSER):
    """Return what the script says of a file that is chosen: its text and class, and whether none can be chosen."""
    files = [{"form": "CSV", "sha256": "1" * 64}, {"form": "PDF", "sha256": DIGEST}]
    said = json.dumps([SCRIPT, files, chosen if chosen is None else chosen.hex(), secure])
    ran = subprocess.run(["node", "-e", browser], input=said, capture_output=True, text=True, check=True, timeout=60)
    return json.loads(ran.stdout)


@pytest.mark.system("node")
def test_the_file_that_was_issued_is_known_and_any_other_is_told():
    other = CONTENT[:-1] + b"x"

    assert told(CONTENT) == [f"{SAME}, as PDF.", "same", False]
    assert told(other) == [f"{OTHER}. Its SHA-256 is {sha256(other).hexdigest()}.", "other", False]
    assert told(b"")[1:] == ["other", False]


@pytest.mark.system("node")
def test_what_cannot_be_compared_is_left_to_people_with_words_how():
    unread, insecure = told(None), told(CONTENT, secure=False)

    assert (unread[1:], insecure[1:]) == (["other", False], ["other", True])
    assert BY_HAND in unread[0]
    assert BY_HAND in insecure[0]


@pytest.mark.system("node")
def test_what_is_said_is_of_the_file_that_came_last():
    assert told(CONTENT, browser=RACE)[1] == "other"
