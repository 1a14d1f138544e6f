"""Finding any run of characters, whatever its case, in listings, tapes and programs.

A run is looked for within one line. What is told first: images of that digest; tapes and
programs of exactly that number or title; those that hold it, by the field that does; listings in
which it stands as a word; other listings. Among equals the newest come first. Only the newest
listings are ranked: all that hold a common word could not be, in a large library.
"""

from collections.abc import Iterator
from itertools import islice
from typing import Any, Final

from sqlalchemy import Select, bindparam, func, select
from sqlmodel import col

from server.catalog import search_facets, search_help, search_hits
from server.catalog.held import known
from server.catalog.search_cursor import Place, Stage, read_cursor, write_cursor
from server.catalog.search_filters import of_listings, of_records
from server.catalog.search_hits import LINES_SHOWN
from server.catalog.search_ranking import RANKED, as_words
from server.catalog.search_sources import bundles_for
from server.catalog.search_values import Hit, HitKind, SearchHelp, SearchPage, SearchQuery
from server.catalog.work import Work
from server.store.images import ImageRow
from server.store.search import (
    fields_beside,
    is_scanned,
    keys,
    newest,
    plain,
    record_of,
    text_holds,
)
from server.store.texts import LISTINGS, RECORDS, RecordText

__all__ = ["COUNTED", "LINES_SHOWN", "Hit", "HitKind", "SearchPage", "SearchQuery", "find"]

COUNTED: Final = 200
"""As many records, and as many listings, are counted; there may be more."""

LEAST_DIGEST: Final = 6
"""Hexadecimal digits of a digest that are enough to look for it."""

SCANT: Final = 3
"""Where so few are found, none of them a record, another spelling may find more."""


def find(work: Work, query: SearchQuery) -> SearchPage:
    """What holds `query.q`, from `query.cursor` on.

    Raises:
        Invalid: the cursor was not given by this same query.
    """
    if not query.q.strip():
        return SearchPage((), 0, total_is_exact=True, next_cursor=None)
    search = _Search(work, query)
    after = read_cursor(query)
    places = list(islice(search.places(after), query.limit + 1))
    here, more = places[: query.limit], len(places) > query.limit
    # Where all that there is stands on this page, there is nothing to count.
    counts = search.counts() if more or after is not None else [len(here)]
    total = sum(min(count, COUNTED) for count in counts)
    is_scant = after is None and total <= SCANT
    return SearchPage(
        hits=tuple(search_hits.at(work, query, here)),
        total=total,
        total_is_exact=max(counts) <= COUNTED,
        next_cursor=write_cursor(query, here[-1]) if more else None,
        newest_only=is_scanned(query.q),
        facets=search_facets.count(work, query) if query.facets else {},
        help=_help(work, query, here) if is_scant else None,
    )


def _help(work: Work, query: SearchQuery, found: list[Place]) -> SearchHelp | None:
    if any(place.stage <= Stage.RECORD for place in found):
        return None
    dropped = {}
    if not found:
        for name in query.narrowed_by:
            dropped[name] = sum(_Search(work, query.without(name)).counts())
    return search_help.offer(work, query, dropped)


_BESIDE = select(RECORDS.key, col(RecordText.body), col(RecordText.plain)).where(
    RECORDS.key.in_(bindparam("keys", expanding=True))
)
_NEWEST = select(func.max(LISTINGS.key))


class _Search:
    """The places where a query's run stands, in the order in which they are told."""

    def __init__(self, work: Work, query: SearchQuery) -> None:
        self._session = work.session
        self._query = query
        self._bundles = bundles_for(work)
        self._listings = of_listings(query, LISTINGS.key, self._bundles)
        self._records = of_records(query, self._bundles)
        self._newest_here: list[int] | None = None
        self._all_records: set[tuple[str, int]] | None = None

    def places(self, after: Place | None) -> Iterator[Place]:
        """The places after `after`, one after the other."""
        after = after or Place(Stage.DIGEST, 0, self._newest_listing())
        for stage, told in (
            (Stage.DIGEST, self._digests),
            (Stage.NAME, self._names),
            (Stage.RECORD, self._holders),
            (Stage.PART, self._ranked),
            (Stage.OLDER, self._older),
        ):
            if after.stage <= stage:
                start = after if after.key else None
                yield from told(start, after.newest)
                after = Place(Stage(min(stage + 1, Stage.OLDER)), 0, after.newest)

    def counts(self) -> list[int]:
        """How many records and listings; one more than `COUNTED` where more than that.

        What `places` looked up on the way is not counted again.
        """
        records, listings = self._all_records, self._newest_here
        return [
            self._count_of(self._record_ids()) if records is None else len(records),
            self._count_of(self._listing_ids()) if listings is None else len(listings),
            len(list(self._digests(None, 0))),
        ]

    def _record_ids(self) -> Select[*tuple[Any, ...]]:
        found = keys(self._session, RECORDS, self._query.q).where(*self._records)
        record = col(RecordText.kind), col(RecordText.object_id)
        return found.with_only_columns(*record).distinct()

    def _listing_ids(self) -> Select[*tuple[Any, ...]]:
        return keys(self._session, LISTINGS, self._query.q).where(*self._listings)

    def _count_of(self, found: Select[*tuple[Any, ...]]) -> int:
        some = found.limit(COUNTED + 1).subquery()
        counted = select(func.count()).select_from(some)
        return self._session.connection().execute(counted).scalar_one()

    def _newest_listing(self) -> int:
        return self._session.connection().scalar(_NEWEST) or 0

    def _digests(self, after: Place | None, top: int) -> Iterator[Place]:
        digits = self._query.q.strip().lower()
        if len(digits) < LEAST_DIGEST or set(digits) - set("0123456789abcdef"):
            return
        image_id = col(ImageRow.id)
        found = select(image_id).where(
            col(ImageRow.sha256) >= digits,
            col(ImageRow.sha256) < f"{digits}g",
            *of_listings(self._query, image_id, self._bundles),
        )
        if after is not None:
            found = found.where(image_id < after.key)
        for key in self._session.scalars(found.order_by(image_id.desc()).limit(COUNTED)):
            yield Place(Stage.DIGEST, known(key), top)

    def _names(self, after: Place | None, top: int) -> Iterator[Place]:
        name = plain(self._query.q)
        if not name:
            return
        found = select(RECORDS.key).where(col(RecordText.plain) == name, *self._records)
        if after is not None:
            found = found.where(RECORDS.key < after.key)
        page = found.order_by(RECORDS.key.desc()).limit(self._query.limit + 1)
        for key in self._session.connection().scalars(page):
            yield Place(Stage.NAME, key, top)

    def _holders(self, after: Place | None, top: int) -> Iterator[Place]:
        """Records, each at the best of its fields that hold the run."""
        before = after.key if after is not None else None
        most = self._query.limit + 1
        while True:
            found = newest(
                self._session,
                RECORDS,
                [self._query.q],
                most,
                before=before,
                only=self._records,
            )
            if before is None and len(found) < most:
                self._all_records = {record_of(key)[::2] for key in found}
            told = self._told_before(found)
            yield from (Place(Stage.RECORD, key, top) for key in found if key not in told)
            if len(found) < most:
                return
            before = found[-1]

    def _told_before(self, found: list[int]) -> set[int]:
        """Those of the keys whose record was told already, by a better field or as its name."""
        if not found:
            return set()
        fields = {key: fields_beside(key) for key in found}
        beside = sorted(set().union(*fields.values()))
        rows = self._session.connection().execute(_BESIDE, {"keys": beside})
        name = plain(self._query.q)
        named, holding = set(), set()
        for key, body, its_name in rows:
            if name and its_name == name:
                named.add(key)
            if text_holds(self._query.q, body, its_name):
                holding.add(key)
        return {
            key
            for key, others in fields.items()
            if others & named or any(other > key for other in others & holding)
        }

    def _ranked(self, after: Place | None, top: int) -> Iterator[Place]:
        """Listings of the window that is ranked: words first, each part the newest first."""
        window = self._window(top)
        words = as_words(self._session, window, self._query.q)
        for stage, those in (
            (Stage.WORD, [key for key in window if key in words]),
            (Stage.PART, [key for key in window if key not in words]),
        ):
            for key in those:
                if after is None or (after.stage, -after.key) < (stage, -key):
                    yield Place(stage, key, top)

    def _window(self, top: int) -> list[int]:
        """The newest listings that hold the run, as many as are ranked."""
        if self._newest_here is None:
            # As many as are counted, so that nothing is looked up twice.
            self._newest_here = newest(
                self._session,
                LISTINGS,
                [self._query.q],
                COUNTED + 1,
                before=top + 1,
                only=self._listings,
            )
        return self._newest_here[:RANKED]

    def _older(self, after: Place | None, top: int) -> Iterator[Place]:
        if after is None:
            window = self._window(top)
            if len(window) < RANKED:
                return
            before = window[-1]
        else:
            before = after.key
        found = newest(
            self._session,
            LISTINGS,
            [self._query.q],
            self._query.limit + 1,
            before=before,
            only=self._listings,
        )
        yield from (Place(Stage.OLDER, key, top) for key in found)
