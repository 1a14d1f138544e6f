"""Finding any run of characters, whatever its case, in listings, tapes and programs.

A run is looked for within one line. Records come first, by the field that holds the run;
listings follow, the newest first. Nothing is ranked by how often it holds the run: that would
mean reading every listing that holds a common word.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any, Final, cast

from sqlalchemy import Select, func, select, tuple_
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
from server.store.search import RANKS, fold, holds, is_scanned
from server.store.tapes import Tape
from server.store.texts import LISTINGS, RECORDS, ListingText, RecordText

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
    places = _places(work, query, read_cursor(query), query.limit + 1)
    here = places[: query.limit]
    more = len(places) > len(here)
    counts = [_count(work, each) for each in (_records(work, query), _listings(work, query))]
    return SearchPage(
        hits=tuple(_hits(work, query.q, here)),
        total=sum(min(count, COUNTED) for count in counts),
        total_is_exact=max(counts) <= COUNTED,
        next_cursor=write_cursor(query, here[-1]) if more else None,
        newest_only=is_scanned(query.q),
    )


def _places(work: Work, query: SearchQuery, after: Place | None, most: int) -> list[Place]:
    """At most `most` of the records and listings that come after that place."""
    found: list[Place] = []
    if after is None or after.rank < LISTING_RANK:
        records = _records(work, query).subquery()
        key = tuple_(records.c.rank, records.c.object_id)
        page = select(records.c.rank, records.c.object_id)
        if after is not None:
            page = page.where(key > tuple_(after.rank, after.id))
            after = None
        page = page.order_by(records.c.rank, records.c.object_id).limit(most)
        found = [Place(rank, number) for rank, number in work.session.execute(page)]
    if len(found) < most:
        listings = _listings(work, query).order_by(col(ListingText.image_id).desc())
        if after is not None:
            listings = listings.where(col(ListingText.image_id) < after.id)
        rows = work.session.execute(listings.limit(most - len(found)))
        found += [Place(LISTING_RANK, number) for (number,) in rows]
    return found


def _records(work: Work, query: SearchQuery) -> Select[*tuple[Any, ...]]:
    """The tapes and programs that hold the run, each with the first of its fields to do so."""
    return (
        select(func.min(col(RecordText.rank)).label("rank"), col(RecordText.object_id))
        .where(holds(work.session, RECORDS, query.q), of_records(query))
        .group_by(col(RecordText.kind), col(RecordText.object_id))
    )


def _listings(work: Work, query: SearchQuery) -> Select[int]:
    return select(col(ListingText.image_id)).where(
        holds(work.session, LISTINGS, query.q), of_listings(query)
    )


def _count(work: Work, found: Select[*tuple[Any, ...]]) -> int:
    """How many rows there are; one more than `COUNTED` where there are more than that."""
    counted = select(func.count()).select_from(found.limit(COUNTED + 1).subquery())
    return work.session.scalar(counted) or 0


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
    rows = work.session.scalars(select(Tape).where(col(Tape.id).in_(ids)))
    return {row.id: row for row in rows}


def _programs(work: Work, ids: Collection[int]) -> dict[int | None, Program]:
    rows = work.session.scalars(select(Program).where(col(Program.id).in_(ids)))
    return {row.id: row for row in rows}


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
