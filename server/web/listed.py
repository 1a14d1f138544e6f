"""Lines of a listing for a page: numbered, findings in their place, and a searched run marked."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from server.store.search import fold, readable
from server.tape.findings import Finding
from server.tape.listing import Line

LINES_A_PAGE = 5000
"""A full 1000 ft roll as a dump is 7,500 lines: two pages. Each is laid out only where seen."""

LINES_A_BUNDLE = 100
"""Lines that a browser lays out together, or skips together when they are out of sight."""


class Piece(NamedTuple):
    """A run of text: whether it is marked, and where it leads, if anywhere."""

    text: str
    is_run: bool = False
    href: str | None = None


class Link(NamedTuple):
    """Characters `start` up to `stop` of a line lead to `href`."""

    start: int
    stop: int
    href: str


Pieces = tuple[Piece, ...]
Links = Mapping[int, Sequence[Link]]
"""The links of each line that has some, by its index, in the order of the line."""


@dataclass(frozen=True, slots=True)
class ListedLine:
    """One line: its number in the listing (from 1), its text, and what was found in it."""

    number: int
    text: str
    frame: int
    pieces: Pieces = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class ListingPage:
    """Part of a listing, in bundles; `matches` are the numbers of all lines that hold the run."""

    bundles: tuple[tuple[ListedLine, ...], ...]
    total: int
    page: int
    pages: int
    matches: tuple[int, ...] = ()


def page_of_line(number: int) -> int:
    """The page, counted from 1, that a line number stands on."""
    return 1 + max(0, number - 1) // LINES_A_PAGE


def last_page(total: int) -> int:
    """How many pages so many lines take, at least one."""
    return max(1, -(-total // LINES_A_PAGE))


def lines_of_page(page: int) -> tuple[int, int]:
    """The index of the first line of a page, and that after its last."""
    return (page - 1) * LINES_A_PAGE, page * LINES_A_PAGE


def listing_page(
    lines: Sequence[Line],
    findings: Sequence[Finding],
    *,
    page: int = 1,
    total: int,
    run: str = "",
    matches: tuple[int, ...] = (),
    links: Links | None = None,
) -> ListingPage:
    """The `lines` of one page of `total`, with `run` marked wherever it stands, in either case."""
    start, _ = lines_of_page(page)
    found = by_line(lines, findings)
    listed = [
        _listed(start, at, line, found, run, (links or {}).get(start + at, ()))
        for at, line in enumerate(lines)
    ]
    return ListingPage(
        bundles=tuple(
            tuple(listed[at : at + LINES_A_BUNDLE]) for at in range(0, len(listed), LINES_A_BUNDLE)
        ),
        total=total,
        page=page,
        pages=last_page(total),
        matches=matches,
    )


def excerpt(lines: Sequence[Line], findings: Sequence[Finding]) -> tuple[ListedLine, ...]:
    """The first lines of a listing."""
    found = by_line(lines, findings)
    return tuple(_listed(0, at, line, found, "") for at, line in enumerate(lines))


def by_line(
    lines: Sequence[Line], findings: Sequence[Finding]
) -> Mapping[int, tuple[Finding, ...]]:
    """The findings by the index of each line that they touch."""
    order = sorted(range(len(lines)), key=lambda index: lines[index].frame)
    starts = [lines[index].frame for index in order]
    touched: dict[int, list[Finding]] = defaultdict(list)
    for finding in findings:
        end = finding.frame + max(1, finding.frames)
        at = max(0, bisect_right(starts, finding.frame) - 1)
        while at < len(order) and starts[at] < end:
            line = lines[order[at]]
            if line.frame + line.frames > finding.frame:
                touched[order[at]].append(finding)
            at += 1
    return {index: tuple(found) for index, found in touched.items()}


def visible(text: str) -> str:
    """Text of a listing with its control characters shown as signs of their own."""
    return text if text.isprintable() else text.translate(_SIGNS)


_SIGNS: Final = {code: 0x2400 + code for code in range(0x20) if code != 0x09} | {0x7F: 0x2421}
"""Unicode's control pictures."""


def marked(text: str, run: str) -> Pieces:
    """`text` in pieces, those that equal `run` in either case marked."""
    pieces: list[Piece] = []
    text = readable(text)
    low, needle, at = fold(text), fold(run), 0
    if not needle:
        return (Piece(text),)
    while (found := low.find(needle, at)) >= 0:
        pieces += [Piece(text[at:found]), Piece(text[found : found + len(needle)], is_run=True)]
        at = found + len(needle)
    return tuple(piece for piece in [*pieces, Piece(text[at:])] if piece.text)


def linked(pieces: Pieces, links: Sequence[Link]) -> Pieces:
    """`pieces` of one text, cut where `links` begin and end, those that lead somewhere doing so."""
    cut: list[Piece] = []
    start = 0
    for piece in pieces:
        at, stop = start, start + len(piece.text)
        for link in links:
            first, last = max(link.start, at), min(link.stop, stop)
            if first < last:
                cut.append(piece._replace(text=piece.text[at - start : first - start]))
                inside = piece.text[first - start : last - start]
                cut.append(piece._replace(text=inside, href=link.href))
                at = last
        cut.append(piece._replace(text=piece.text[at - start :]))
        start = stop
    return tuple(piece for piece in cut if piece.text)


def _listed(
    start: int,
    at: int,
    line: Line,
    found: Mapping[int, tuple[Finding, ...]],
    run: str,
    links: Sequence[Link] = (),
) -> ListedLine:
    text = visible(line.text)
    pieces = marked(text, run) if run else ()
    if not any(piece.is_run for piece in pieces):
        pieces = ()
    if links:
        pieces = linked(pieces or (Piece(text),), links)
    return ListedLine(start + at + 1, text, line.frame, pieces, found.get(at, ()))


def matches(lines: Sequence[Line], run: str) -> tuple[int, ...]:
    """The numbers of all `lines` that hold `run`, in either case."""
    needle = fold(run)
    return tuple(at for at, line in enumerate(lines, 1) if needle in fold(line.text))
