"""What a paper is made of, told to whoever does not see it: a tree of headings, paragraphs, tables and figures beside the drawing.

A page is an artifact (rules, grounds, what is repeated on every page) but for what is marked as the content of an element of the tree.

Source:
    ISO 32000-1:2008, sections 14.6 (marked content), 14.7 (logical structure) and 14.8 (tagged PDF).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Final, Literal

ARTIFACT: Final = "/Artifact BMC"
END: Final = "EMC"

LINKS_FROM: Final = 100_000
"""The first key of an annotation in the tree of parents; those of pages, which begin with 0, come before."""

Role = Literal["Document", "Sect", "H1", "H2", "P", "Span", "Table", "TR", "TH", "TD", "Figure", "Link"]
Box = tuple[float, float, float, float]


@dataclass(slots=True)
class _Element:
    """An element of the tree. A leaf has its content as the marked content ``mark`` of ``page``; a cell without text has none.

    What is ``annotated`` is also of the annotation of that name.
    """

    role: Role
    parent: _Element | None
    children: list[_Element] = field(default_factory=list)
    page: int | None = None
    mark: int | None = None
    alternative: str | None = None
    box: Box | None = None
    annotated: str | None = None


class Tags:
    """The tree of a paper that is being drawn, in the order in which it is read."""

    def __init__(self) -> None:
        self._root = self._within = _Element("Document", None)
        self._last: list[_Element] = []
        self._leaves: list[list[_Element]] = []
        self._annotated: list[_Element] = []

    def begin_page(self) -> None:
        """Count the marks of the next page anew."""
        self._leaves.append([])

    @contextmanager
    def element(self, role: Role, *, last: bool = False) -> Iterator[None]:
        """Hang what is drawn meanwhile under an element of its own; what is ``last`` is read after all else."""
        outer = self._within
        self._within = self._add_last(role) if last else self._add(role)
        try:
            yield
        finally:
            self._within = outer

    def leaf(self, role: Role, *, alternative: str | None = None, box: Box | None = None) -> str:
        """Add an element and return the operator with which its content on this page begins; ``END`` ends it.

        ``alternative`` says in words what is drawn within ``box`` [pt].
        """
        of_page = self._leaves[-1]
        made = _Element(role, self._within, [], len(self._leaves) - 1, len(of_page), alternative, box)
        self._within.children.append(made)
        of_page.append(made)
        return f"/{role} <</MCID {made.mark}>> BDC"

    def annotate(self, name: str) -> int:
        """Have the latest leaf be of an annotation too, and return the key by which that finds its element."""
        leaf = self._leaves[-1][-1]
        leaf.annotated = name
        self._annotated.append(leaf)
        return LINKS_FROM + len(self._annotated) - 1

    def empty(self, role: Role) -> None:
        """Add an element that has nothing to say, so that what follows keeps its place."""
        self._add(role)

    def _add(self, role: Role) -> _Element:
        made = _Element(role, self._within)
        self._within.children.append(made)
        return made

    def _add_last(self, role: Role) -> _Element:
        made = _Element(role, self._root)
        self._last.append(made)
        return made

    def write(self, document: Any) -> None:  # noqa: ANN401 - reportlab ships no types
        """Write the tree into a file whose pages are all made: one small object for each element, formatted here."""
        self._root.children += self._last
        elements = list(_in_order(self._root))
        # An object's number is its place in the file, so that elements can name each other before they are written.
        first = document.objectcounter + 1
        numbers = {id(one): first + place for place, one in enumerate(elements)}
        root = first + len(elements)
        pages = [_number_of(document, f"Page{place}") for place in range(1, len(self._leaves) + 1)]
        annotations = {id(one): _number_of(document, document.annotationName(one.annotated)) for one in self._annotated}
        for one in elements:
            _register(document, numbers[id(one)], _formatted(one, numbers, pages, annotations, above=root))
        marks = [f"{page} [{_references(leaves, numbers)}]" for page, leaves in enumerate(self._leaves)]
        marks += [f"{key} {numbers[id(one)]} 0 R" for key, one in enumerate(self._annotated, start=LINKS_FROM)]
        following = LINKS_FROM + len(self._annotated) if self._annotated else len(pages)
        parents = f"<< /Nums [{' '.join(marks)}] >> /ParentTreeNextKey {following}"
        tree = f"<< /Type /StructTreeRoot /K {numbers[id(self._root)]} 0 R /ParentTree {parents} >>"
        document.Catalog.StructTreeRoot = _register(document, root, tree)
        document.Catalog.MarkInfo = _register(document, root + 1, "<< /Marked true >>")


def _in_order(element: _Element) -> Iterator[_Element]:
    yield element
    for child in element.children:
        yield from _in_order(child)


def _formatted(one: _Element, numbers: dict[int, int], pages: list[int], annotations: dict[int, int], *, above: int) -> str:
    parts = [f"<< /Type /StructElem /S /{one.role} /P {numbers[id(one.parent)] if one.parent else above} 0 R"]
    if one.page is not None and one.annotated is not None:
        page = pages[one.page]
        parts.append(f"/Pg {page} 0 R /K [{one.mark} << /Type /OBJR /Obj {annotations[id(one)]} 0 R /Pg {page} 0 R >>]")
    elif one.page is not None:
        parts.append(f"/Pg {pages[one.page]} 0 R /K {one.mark}")
    elif one.children:
        parts.append(f"/K [{_references(one.children, numbers)}]")
    if one.role == "TH":
        parts.append("/A << /O /Table /Scope /Column >>")
    if one.box is not None:
        parts.append(f"/A << /O /Layout /BBox [{' '.join(f'{edge:.2f}' for edge in one.box)}] >>")
    if one.alternative is not None:
        parts.append(f"/Alt <{one.alternative.encode('utf-16-be', 'replace').hex().join(('feff', ''))}>")
    return " ".join((*parts, ">>"))


def _references(elements: list[_Element], numbers: dict[int, int]) -> str:
    return " ".join(f"{numbers[id(one)]} 0 R" for one in elements)


def _number_of(document: Any, name: str) -> int:  # noqa: ANN401 - reportlab ships no types
    number: int = document.idToObjectNumberAndVersion[name][0]
    return number


def _register(document: Any, number: int, text: str) -> Any:  # noqa: ANN401 - reportlab ships no types
    """Add an object and return the reference to it; it gets the next number, which is to be ``number``."""
    reference = document.Reference(text.encode("ascii"), f"Element{number}")
    assert document.objectcounter == number, "no other object comes in between"  # noqa: S101 - numbers were given in this order
    return reference
