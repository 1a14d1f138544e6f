"""Finding any run of characters, whatever its case, in listings, tapes and programs.

A run is looked for within one line. Records come first, by the field that holds the run;
listings follow, the newest first. Nothing is ranked by how often it holds the run: that would
mean reading every listing that holds a common word.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Final, cast

from sqlalchemy import func, select, tuple_
from sqlmodel import col

from server.catalog.excerpt import pieces
from server.catalog.held import titles
from server.catalog.search_cursor import LISTING_RANK, Place, read_cursor, write_cursor
from server.catalog.search_filters import of_listings, of_records
from server.catalog.search_values import FieldName, Hit, HitKind, SearchPage, SearchQuery
from server.catalog.work import Work
from server.store.images import Decoding, ImageRow
from server.store.listings import unpack_texts
from server.store.programs import Program
from server.store.search import RANKS, fold, holds, is_scanned, keys
from server.store.tapes import Tape
from server.store.texts import LISTINGS, RECORDS, RecordText

__all__ = ["COUNTED", "LINES_SHOWN", "Hit", "HitKind", "SearchPage", "SearchQuery", "find"]

COUNTED: Final = 1000
"""As many records, and as many listings, are counted; there may be more."""

LINES_SHOWN: Final = 3
"""Lines of one listing that are hits of their own."""

_FIELDS: Final = {
    rank: (HitKind(kind), cast("FieldName", field)) for (kind, field), rank in RANKS.items()
}


def find(work: Work, query: SearchQuery) -> SearchPage:
    """The records and listings that hold `query.q`, from `query.cursor` on.

    Raises:
        Invalid: the cursor was not given by this same query.
    """
    if not query.q.strip():
        return SearchPage((), 0, total_is_exact=True, next_cursor=None)
    search = _Search(work, query)
    after = read_cursor(query)
    places = search.places(after, query.limit + 1)
    here = places[: query.limit]
    more = len(places) > len(here)
    # Where all that there is stands on this page, there is nothing to count.
    counts = search.counts() if more or after is not None else (len(here),)
    return SearchPage(
        hits=tuple(_hits(work, query.q, here)),
        total=sum(min(count, COUNTED) for count in counts),
        total_is_exact=max(counts) <= COUNTED,
        next_cursor=write_cursor(query, here[-1]) if more else None,
        newest_only=is_scanned(query.q),
    )


class _Search:
    """The places where a query's run stands, in the order in which they are told."""

    def __init__(self, work: Work, query: SearchQuery) -> None:
        self._session = work.session
        matching = keys(work.session, LISTINGS, query.q).subquery()
        self._image_id = matching.c.key
        self._listings = select(self._image_id).where(*of_listings(query, self._image_id))
        # Of each tape and program that holds the run, the first of the fields to do so.
        self._records = (
            select(func.min(col(RecordText.rank)).label("rank"), col(RecordText.object_id))
            .where(holds(work.session, RECORDS, query.q), of_records(query))
            .group_by(col(RecordText.kind), col(RecordText.object_id))
        )

    def places(self, after: Place | None, most: int) -> list[Place]:
        """At most `most` of the places, those after `after`."""
        found: list[Place] = []
        if after is None or after.rank < LISTING_RANK:
            found = self._records_after(after, most)
            after = None
        if len(found) < most:
            found += self._listings_after(after, most - len(found))
        return found

    def _records_after(self, after: Place | None, most: int) -> list[Place]:
        records = self._records.subquery()
        key = (records.c.rank, records.c.object_id)
        page = select(*key).order_by(*key).limit(most)
        if after is not None:
            page = page.where(tuple_(*key) > tuple_(*after))
        return [Place(rank, number) for rank, number in self._session.execute(page)]

    def _listings_after(self, after: Place | None, most: int) -> list[Place]:
        page = self._listings.order_by(self._image_id.desc()).limit(most)
        if after is not None:
            page = page.where(self._image_id < after.id)
        return [Place(LISTING_RANK, number) for (number,) in self._session.execute(page)]

    def counts(self) -> tuple[int, ...]:
        """How many records and listings; one more than `COUNTED` where more than that."""
        counted = [
            select(func.count()).select_from(found.limit(COUNTED + 1).subquery()).scalar_subquery()
            for found in (self._records, self._listings)
        ]
        return tuple(self._session.execute(select(*counted)).one())


def _hits(work: Work, needle: str, places: Sequence[Place]) -> Iterator[Hit]:
    """The hits at those places, in that order."""
    ids: dict[HitKind, set[int]] = {kind: set() for kind in HitKind}
    for place in places:
        ids[_kind(place)].add(place.id)
    tapes, programs = _tapes(work, ids[HitKind.TAPE]), _programs(work, ids[HitKind.PROGRAM])
    listings = _listing_hits(work, needle, ids[HitKind.LISTING])
    for place in places:
        if _kind(place) is HitKind.LISTING:
            yield from listings.get(place.id, ())
        elif _kind(place) is HitKind.TAPE:
            yield _tape_hit(tapes[place.id], _FIELDS[place.rank][1], needle)
        else:
            yield _program_hit(programs[place.id], _FIELDS[place.rank][1], needle)


def _kind(place: Place) -> HitKind:
    return HitKind.LISTING if place.rank == LISTING_RANK else _FIELDS[place.rank][0]


def _tapes(work: Work, ids: Collection[int]) -> dict[int | None, Tape]:
    found = select(Tape).where(col(Tape.id).in_(ids))
    return {row.id: row for row in work.session.scalars(found)} if ids else {}


def _programs(work: Work, ids: Collection[int]) -> dict[int | None, Program]:
    found = select(Program).where(col(Program.id).in_(ids))
    return {row.id: row for row in work.session.scalars(found)} if ids else {}


def _tape_hit(tape: Tape, field: FieldName, needle: str) -> Hit:
    return Hit(
        HitKind.TAPE,
        field,
        tape.title,
        pieces(getattr(tape, field), needle),
        accession=tape.accession_number,
        program=tape.program_id,
    )


def _program_hit(program: Program, field: FieldName, needle: str) -> Hit:
    excerpt = pieces(getattr(program, field), needle)
    return Hit(HitKind.PROGRAM, field, program.title, excerpt, program=program.id)


def _listing_hits(work: Work, needle: str, ids: Collection[int]) -> Mapping[int, list[Hit]]:
    """The first lines of each listing that hold the needle."""
    if not ids:
        return {}
    named = titles(work, ids)
    rows = work.session.execute(
        select(col(Decoding.image_id), col(ImageRow.sha256), col(Decoding.listing))
        .join(ImageRow, col(ImageRow.id) == col(Decoding.image_id))
        .where(~col(Decoding.superseded), col(Decoding.image_id).in_(ids))
    )
    hits: dict[int, list[Hit]] = {}
    for image_id, sha256, packed in rows:
        lines = list(_lines_that_hold(unpack_texts(packed), needle))
        hits[image_id] = [
            Hit(
                HitKind.LISTING,
                "listing",
                named[image_id].title,
                pieces(text, needle),
                sha256=sha256,
                accession=named[image_id].accession,
                line=number,
                lines_found=len(lines),
            )
            for number, text in lines[:LINES_SHOWN]
        ]
    return hits


def _lines_that_hold(lines: Sequence[str], needle: str) -> Iterator[tuple[int, str]]:
    folded = fold(needle)
    return ((number, line) for number, line in enumerate(lines, start=1) if folded in fold(line))
