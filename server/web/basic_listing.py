"""The cross-references of a BASIC listing on its page: links between lines, and names by use."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from server.tape.basic.dialect import Dialect
from server.tape.basic.references import (
    CrossReferences,
    Reference,
    ReferenceKind,
    cross_references,
)
from server.tape.listing import Line
from server.web.listed import Link, Links, Piece, page_of_line

NAMES_SHOWN: Final = 300
PLACES_SHOWN: Final = 30

_KINDS: Final[Mapping[tuple[ReferenceKind, bool], str]] = {
    (ReferenceKind.VARIABLE, False): "number",
    (ReferenceKind.VARIABLE, True): "text",
    (ReferenceKind.ARRAY, False): "array of numbers",
    (ReferenceKind.ARRAY, True): "array of texts",
    (ReferenceKind.FUNCTION, False): "function",
    (ReferenceKind.FUNCTION, True): "function of text",
}
"""What a name is of, by its kind and whether it ends in $."""


@dataclass(frozen=True, slots=True)
class NameRow:
    """A name: what it is of, and links to the lines that give it a value and that read it.

    `more` counts the lines that are left out.
    """

    name: str
    kind: str
    assigned: tuple[Piece, ...]
    read: tuple[Piece, ...]
    more: int


@dataclass(frozen=True, slots=True)
class BasicReferences:
    """What a page shows of them; `names` are the first so many of `total`."""

    links: Links
    names: tuple[NameRow, ...]
    total: int


def basic_references(
    lines: Sequence[Line], dialect: Dialect | None, page: int, run: str
) -> BasicReferences:
    """The cross-references of `lines`, for the page of them on which `run` is marked."""
    found = cross_references(lines, dialect)
    places = _Places(lines, page, run)
    names = list(found.names().items())
    return BasicReferences(
        links=_links(found, places),
        names=tuple(_row(*key, uses, places) for key, uses in names[:NAMES_SHOWN]),
        total=len(names),
    )


class _Places:
    """Where a line stands, as a link from `page`."""

    def __init__(self, lines: Sequence[Line], page: int, run: str) -> None:
        self._lines = lines
        self._page = page
        self._run = run

    def href(self, index: int) -> str:
        number = index + 1
        page = page_of_line(number)
        asked = {"q": self._run} if self._run else {}
        query = "" if page == self._page else f"?{urlencode({**asked, 'page': page})}"
        return f"{query}#L{number}"

    def link(self, index: int) -> Piece:
        key = self._lines[index].key
        return Piece(str(index + 1) if key is None else str(key), href=self.href(index))


def _links(found: CrossReferences, places: _Places) -> Links:
    links = {}
    for index, references in found.by_line().items():
        targets = ((each, found.target(each)) for each in references)
        links[index] = [
            Link(each.start, each.stop, places.href(target))
            for each, target in targets
            if target is not None
        ]
    return links


def _row(kind: ReferenceKind, name: str, uses: Iterable[Reference], places: _Places) -> NameRow:
    uses = list(uses)
    assigned = list(dict.fromkeys(use.line for use in uses if use.assigned))
    read = list(dict.fromkeys(use.line for use in uses if not use.assigned))
    shown = [lines[:PLACES_SHOWN] for lines in (assigned, read)]
    return NameRow(
        name=name,
        kind=_KINDS[kind, name.endswith("$")],
        assigned=tuple(map(places.link, shown[0])),
        read=tuple(map(places.link, shown[1])),
        more=len(assigned) + len(read) - len(shown[0]) - len(shown[1]),
    )
