"""Every paper tells what it is made of: all that is written is content of one element of its tree, or furniture."""

from __future__ import annotations

import shutil
import subprocess
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from io import BytesIO

import pypdf
import pytest
from pypdf.generic import ContentStream

from reports.animal_record import animal_record_pdf
from reports.due_list import due_list_pdf
from reports.incident_sheet import incident_sheet_pdf
from reports.inspection_file import inspection_file_pdf
from reports.labels import labels_pdf
from reports.permit_register import permit_register_pdf
from reports.stock_statement import stock_statement_pdf
from reports.tags import Tags
from reports.transfer_file import transfer_file_pdf
from tests.reports.makers import (
    animal_record,
    due_row,
    due_sheet,
    enclosure_label,
    going_animal,
    incident_sheet,
    inspection_file,
    label_sheet,
    label_taxon,
    measurement_line,
    notice_line,
    permit_register,
    stock_line,
    stock_movement,
    stock_statement,
    transfer_file,
)

CHECK_AT = "https://records.example/v/1-abcdefghjkmnpqrstuvw"
SHOWS = {b"Tj", b"TJ", b"'", b'"'}


def long_record():
    weighed = [measurement_line(measured_on=date(2025, 1, 1 + day), mass_g=100.0 + day) for day in range(5)]
    return animal_record(measurements=weighed, note="A note that takes many words. " * 60)


PAPERS = {
    "due-list": lambda: due_list_pdf(due_sheet(*(due_row(number=one, tag=f"T-{one}") for one in range(1, 90)))),
    "due-list-empty": lambda: due_list_pdf(due_sheet()),
    "animal-record": lambda: animal_record_pdf(long_record()),
    "labels": lambda: labels_pdf(label_sheet(*(enclosure_label(label_taxon()) for _ in range(12)))),
    "stock-statement": lambda: stock_statement_pdf(stock_statement(stock_line(), stock_line(), movements=[stock_movement()] * 80)),
    "permit-register": lambda: permit_register_pdf(permit_register(check_at=CHECK_AT, sealed=True)),
    "inspection-file": lambda: inspection_file_pdf(inspection_file(check_at=CHECK_AT)),
    "incident-sheet": lambda: incident_sheet_pdf(incident_sheet(notice_line(), notice_line(standing="missed"))),
    "transfer-file": lambda: transfer_file_pdf(transfer_file(*(going_animal(number=one) for one in range(1, 30)))),
}


@dataclass
class Element:
    """An element of a file's tree, with the text of the marked content that is its own."""

    role: str
    alternative: str | None
    scope: str | None
    children: list[Element] = field(default_factory=list)
    marks: list[tuple[int, int]] = field(default_factory=list)
    annotations: list = field(default_factory=list)

    def all(self):
        yield self
        for child in self.children:
            yield from child.all()


def read_element(node, pages):
    attributes = node.get("/A", {})
    found = Element(node["/S"][1:], node.get("/Alt"), attributes.get("/Scope"))
    kids = node.get("/K", [])
    for kid in kids if isinstance(kids, list) else [kids]:
        inner = kid.get_object()
        if isinstance(inner, int):
            found.marks.append((pages[node.raw_get("/Pg").idnum], int(inner)))
        elif inner.get("/Type") == "/OBJR":
            assert pages[inner.raw_get("/Pg").idnum] == pages[node.raw_get("/Pg").idnum]
            found.annotations.append(inner["/Obj"])
        else:
            assert inner["/P"] == node
            found.children.append(read_element(inner, pages))
    return found


class Tagged:
    """A file's tree, and of every page what was shown outside of any mark, and within which."""

    def __init__(self, pdf):
        self.file = pypdf.PdfReader(BytesIO(pdf))
        self.root = self.file.trailer["/Root"]
        pages = {page.indirect_reference.idnum: number for number, page in enumerate(self.file.pages)}
        self.tree = read_element(self.root["/StructTreeRoot"]["/K"], pages)
        self.marked, self.unmarked = Counter(), Counter()
        for number, page in enumerate(self.file.pages):
            self._read(number, page)

    def _read(self, number, page):
        within = []
        for operands, operator in ContentStream(page["/Contents"], self.file).operations:
            if operator == b"BDC":
                within.append((operands[0], int(operands[1]["/MCID"])))
            elif operator == b"BMC":
                within.append((operands[0], None))
            elif operator == b"EMC":
                within.pop()
            elif operator in SHOWS:
                assert len(within) == 1
                self.marked[(number, within[-1][1])] += within[-1][1] is not None
                self.unmarked[number] += not within
        assert within == []


@pytest.fixture(params=PAPERS, scope="module")
def tagged(request):
    return Tagged(PAPERS[request.param]())


def test_all_that_is_written_is_marked_and_every_mark_belongs_to_one_element(tagged):
    written = {mark for mark, times in tagged.marked.items() if times}
    claimed = Counter(mark for element in tagged.tree.all() for mark in element.marks)

    assert sum(tagged.unmarked.values()) == 0
    assert written <= claimed.keys()
    assert set(claimed.values()) == {1}
    parents = tagged.root["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    for number, page in enumerate(tagged.file.pages):
        listed = parents[2 * page["/StructParents"] + 1]
        assert len(listed) == sum(one == number for one, _ in claimed)
        assert page["/Tabs"] == "/S"
        assert [mark_of(leaf.get_object()) for leaf in listed] == list(range(len(listed)))


def mark_of(leaf):
    return leaf["/K"][0] if isinstance(leaf["/K"], list) else leaf["/K"]


@pytest.mark.parametrize("name", ["permit-register", "inspection-file"])
def test_a_link_is_of_its_words_and_of_its_annotation_and_each_finds_the_other(name):
    tagged = Tagged(PAPERS[name]())
    links = [one for one in tagged.tree.all() if one.role == "Link"]
    parents = tagged.root["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    keys = parents[::2]

    assert keys == sorted(keys)
    assert tagged.root["/StructTreeRoot"]["/ParentTreeNextKey"] > max(keys)
    for link in links:
        [annotation], [(page, _)] = link.annotations, link.marks
        assert parents[2 * keys.index(annotation["/StructParent"]) + 1]["/S"] == "/Link"
        assert (annotation["/A"]["/URI"], annotation["/Contents"]) == (CHECK_AT, CHECK_AT)
        assert annotation in [one.get_object() for one in tagged.file.pages[page]["/Annots"]]


@pytest.mark.parametrize("name", ["permit-register", "inspection-file"])
def test_the_address_in_the_box_and_that_in_the_footer_are_links_within_paragraphs(name):
    tree = Tagged(PAPERS[name]()).tree
    above = [one for one in tree.all() if any(child.role == "Link" for child in one.children)]

    assert [one.role for one in above] == ["P", "P"]
    assert above[-1] is tree.children[-1]
    assert [one.role for one in above[-1].children] == ["Span", "Link"]


def test_a_paper_without_links_has_no_annotations(tagged):
    links = [one for one in tagged.tree.all() if one.role == "Link"]

    assert bool(links) == any("/Annots" in page for page in tagged.file.pages)


def test_the_file_says_that_it_is_tagged_in_which_language_and_by_which_name_to_show_it(tagged):
    assert tagged.root["/MarkInfo"]["/Marked"].value is True
    assert tagged.root["/Lang"].startswith("en")
    assert tagged.root["/ViewerPreferences"]["/DisplayDocTitle"].value is True


def test_tables_are_rows_of_as_many_cells_as_there_are_headings_and_these_are_told_once(tagged):
    for table in (one for one in tagged.tree.all() if one.role == "Table"):
        head, *rows = table.children
        assert {cell.role for cell in head.children} == {"TH"}
        assert {cell.scope for cell in head.children} == {"/Column"}
        assert rows
        for row in rows:
            assert row.role == "TR"
            assert {cell.role for cell in row.children} == {"TD"}
            assert len(row.children) == len(head.children)


def test_headings_begin_with_the_title_and_skip_no_level(tagged):
    levels = [int(one.role[1]) for one in tagged.tree.all() if one.role in {"H1", "H2"}]

    assert levels == sorted(levels)
    assert levels.count(1) <= 1
    assert 2 not in levels or levels[0] == 1


def test_what_is_drawn_is_told_in_words(tagged):
    assert all(one.alternative for one in tagged.tree.all() if one.role == "Figure")


def test_every_heading_below_the_title_is_a_bookmark_that_leads_to_its_page():
    tagged = Tagged(PAPERS["stock-statement"]())
    headings = [one.marks[0][0] for one in tagged.tree.all() if one.role == "H2"]

    assert [tagged.file.get_destination_page_number(one) for one in tagged.file.outline] == headings


def test_a_chart_and_a_code_are_figures():
    first, last = "100 g on 1\u00a0Jan\u00a02025", "104 g on 5\u00a0Jan\u00a02025"
    said = f"Line chart of 5 weighings: {first} to {last}; lightest {first}, heaviest {last}."

    assert [one.alternative for one in Tagged(PAPERS["animal-record"]()).tree.all() if one.role == "Figure"] == [said]
    assert [one.role for one in Tagged(PAPERS["labels"]()).tree.children[0].children][-1] == "Figure"


def test_where_the_paper_comes_from_is_told_last_and_once(tagged):
    *_, last = tagged.tree.children

    assert last.role == "P"
    assert {page for one in last.all() for page, _ in one.marks} == {0}


def test_a_table_over_several_pages_is_one_table():
    tagged = Tagged(PAPERS["due-list"]())
    [longest] = [one for one in tagged.tree.all() if one.role == "Table" and len(one.children) > 80]

    assert len({page for cell in longest.all() for page, _ in cell.marks}) > 1


@pytest.mark.parametrize("name", PAPERS)
def test_other_programs_read_the_tree(name, tmp_path):
    path = tmp_path / "paper.pdf"
    path.write_bytes(PAPERS[name]())
    for tool, arguments in (("qpdf", ["--check", path]), ("pdfinfo", ["-struct", path])):
        if shutil.which(tool) is None:
            pytest.skip(f"{tool} is not installed")
        done = subprocess.run([tool, *arguments], capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, ""), done.stdout


def test_words_of_any_script_are_told_for_a_figure():
    tags = Tags()
    tags.begin_page()

    assert tags.leaf("Figure", alternative="水 🐢") == "/Figure <</MCID 0>> BDC"
