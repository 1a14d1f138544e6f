"""Finding any run of characters, with the same answers from every database.

Texts are folded here, before they are stored, and so are the needles: the databases only
compare code points, and none of their own rules about case or wildcards comes into play.
"""

import unicodedata
from collections.abc import Mapping
from typing import Final, Protocol

from sqlalchemy import ColumnElement, Select, delete, func, insert, select
from sqlalchemy.orm import Session
from sqlmodel import col

from server.store.search_postgres import PostgresSearch
from server.store.search_sqlite import SqliteSearch
from server.store.texts import LISTINGS, ListingText, RecordText, Texts

RANKS: Final[Mapping[tuple[str, str], int]] = {
    ("tape", "accession_number"): 0,
    ("tape", "title"): 1,
    ("program", "title"): 2,
    ("tape", "origin"): 3,
    ("tape", "notes"): 4,
    ("program", "description"): 5,
}
"""Which fields of which records are searched, the most telling first."""

INDEXED_FROM: Final = 3
"""The shortest needle that the indexes help with: they hold runs of three characters."""

INDEXED_CHARACTERS: Final = 2_000_000
"""How much of one listing is searched: the dump of three rolls of 120,000 frames.

What is longer is no program but noise. To index 10 MB of it whole took minutes, during which
nobody else could write.
"""

SCANNED_LISTINGS: Final = 10_000
"""For a shorter needle only this many of the newest listings are read through."""


class SearchBackend(Protocol):
    """What differs by database."""

    def keys(self, texts: Texts, needle: str) -> Select[int]:
        """The keys, labelled `key`, of the texts that hold the folded needle, by an index."""
        ...


_BACKENDS: Final[Mapping[str, SearchBackend]] = {
    "sqlite": SqliteSearch(),
    "postgresql": PostgresSearch(),
}


def readable(text: str) -> str:
    """The text as an excerpt shows it: composed, and without what no database keeps.

    `fold(text)` has the same length, so a place found in the one is the same in the other.
    """
    return unicodedata.normalize("NFC", text).replace("\0", "\N{REPLACEMENT CHARACTER}")


def fold(text: str) -> str:
    """The text as it is compared: as `readable`, and without case."""
    text = readable(text)
    return text.lower() if text.isascii() else "".join(map(_without_case, text))


def _without_case(character: str) -> str:
    folded = character.casefold()
    return folded if len(folded) == 1 else character


def index_listing(session: Session, image_id: int, text: str) -> None:
    """Make the listing of an image searchable, in place of what was there.

    Of a longer listing, only the first `INDEXED_CHARACTERS` are.
    """
    session.execute(delete(ListingText).where(col(ListingText.image_id) == image_id))
    body = fold(text[:INDEXED_CHARACTERS])
    session.execute(insert(ListingText).values(image_id=image_id, body=body))


def index_record(session: Session, kind: str, object_id: int, fields: Mapping[str, str]) -> None:
    """Make the given fields of a tape or a program searchable, in place of what was there.

    `kind` and the keys of `fields` are those of `RANKS`.
    """
    session.execute(
        delete(RecordText).where(
            col(RecordText.kind) == kind,
            col(RecordText.object_id) == object_id,
            col(RecordText.field).in_(fields),
        )
    )
    rows = [
        {
            "kind": kind,
            "object_id": object_id,
            "field": field,
            "rank": RANKS[kind, field],
            "body": fold(text),
        }
        for field, text in fields.items()
        if text
    ]
    if rows:
        session.execute(insert(RecordText), rows)


def is_scanned(needle: str) -> bool:
    """Whether the needle is too short for the indexes, so that not every listing is read."""
    return len(readable(needle)) < INDEXED_FROM


def keys(session: Session, texts: Texts, needle: str) -> Select[int]:
    """The keys, labelled `key`, of the texts that hold `needle`, whatever the case of either.

    The needle is taken literally. Where it is too short for the indexes, records are read
    through, and of the listings the `SCANNED_LISTINGS` newest.
    """
    if not is_scanned(needle):
        return _BACKENDS[session.get_bind().dialect.name].keys(texts, fold(needle))
    found = select(texts.key.label("key")).where(texts.contain(fold(needle)))
    if texts is not LISTINGS:
        return found
    newest = select(func.max(texts.key)).scalar_subquery()
    return found.where(texts.key > newest - SCANNED_LISTINGS)


def holds(session: Session, texts: Texts, needle: str) -> ColumnElement[bool]:
    """The condition that a row of `texts` is one of those with the `keys`."""
    return texts.key.in_(keys(session, texts, needle))
