"""Finding any run of characters, with the same answers from every database.

Texts are folded here, before they are stored, and so are the needles: the databases only
compare code points, and none of their own rules about case or wildcards comes into play. An
index of grams names the texts that may hold a needle, and each of them is then read, so that
what an index makes of a text never decides an answer.
"""

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, delete, func, insert, literal, select
from sqlalchemy.orm import Session

from server.store import questions, spelling
from server.store.gram_index import GramIndex
from server.store.grams import LENGTHS, Grams, grams_asked, grams_of
from server.store.questions import Run
from server.store.row import Row
from server.store.search_postgres import PostgresGrams
from server.store.search_sqlite import SqliteGrams
from server.store.texts import LISTINGS, RECORDS, ListingText, RecordText, Texts

RANKS: Final[Mapping[tuple[str, str], int]] = {
    ("tape", "accession_number"): 0,
    ("tape", "title"): 1,
    ("program", "title"): 2,
    ("tape", "origin"): 3,
    ("tape", "notes"): 4,
    ("program", "description"): 5,
    ("program", "details"): 6,
}
"""Which fields of which records are searched, the most telling first."""

_LEAST: Final = 6
"""The last rank that there can be: keys are above zero, and below two to the 31st power."""

NAMING: Final = ("accession_number", "title")
"""Fields that name something: spaces, signs and case do not matter in them."""

_FIELDS: Final = {rank: field for field, rank in RANKS.items()}

_RANK_BITS: Final = 28
"""Ids of records are below two to this power, so that a rank fits above them."""

INDEXED_FROM: Final = LENGTHS[0]
"""The shortest needle, in bytes of UTF-8, that the indexes help with."""

INDEXED_CHARACTERS: Final = 2_000_000
"""How much of one listing is searched: the dump of three rolls of 120,000 frames.

What is longer is no program but noise. To index 10 MB of it whole took minutes, during which
nobody else could write.
"""

SCANNED_LISTINGS: Final = 10_000
"""For a shorter needle only this many of the newest listings are read through."""

_INDEXES: Final[Mapping[str, GramIndex]] = {
    "sqlite": SqliteGrams(),
    "postgresql": PostgresGrams(),
}


def index_of(session: Session) -> GramIndex:
    """The index of grams of the session's database."""
    return _INDEXES[session.get_bind().dialect.name]


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


def plain(text: str) -> str:
    """The letters and digits of a text, folded: how a number or a title is recognised."""
    return "".join(filter(str.isalnum, fold(text)))


def record_key(kind: str, object_id: int, field: str) -> int:
    """The key of a field of a record; the greater, the sooner it is told."""
    return (_LEAST - RANKS[kind, field] << _RANK_BITS) + object_id


def record_of(key: int) -> tuple[str, str, int]:
    """The kind and the field that a record's key tells, and the id of the record."""
    rank, object_id = divmod(key, 1 << _RANK_BITS)
    return (*_FIELDS[_LEAST - rank], object_id)


def fields_beside(key: int) -> set[int]:
    """The keys of all fields of the record that a key belongs to."""
    kind, _, object_id = record_of(key)
    return {record_key(kind, object_id, field) for of, field in RANKS if of == kind}


def text_holds(needle: str, body: str, name: str | None) -> bool:
    """Whether a text that was read, or what it names, holds the needle."""
    return fold(needle) in body or (_is_name(needle) and plain(needle) in (name or ""))


def index_listing(session: Session, image_id: int, text: str) -> None:
    """Make the listing of an image searchable, in place of what was there.

    Of a longer listing, only the first `INDEXED_CHARACTERS` are.
    """
    _take_out(session, LISTINGS, [image_id])
    body = fold(text[:INDEXED_CHARACTERS])
    session.execute(insert(ListingText).values(image_id=image_id, body=body))
    index_of(session).put(session, LISTINGS.index, [(image_id, grams_of_texts(body))])


def index_record(session: Session, kind: str, object_id: int, fields: Mapping[str, str]) -> None:
    """Make the given fields of a tape or a program searchable, in place of what was there.

    `kind` and the keys of `fields` are those of `RANKS`.
    """
    _take_out(session, RECORDS, [record_key(kind, object_id, field) for field in fields])
    rows: list[dict[str, Any]] = [
        {
            "id": record_key(kind, object_id, field),
            "kind": kind,
            "object_id": object_id,
            "field": field,
            "rank": RANKS[kind, field],
            "body": fold(text),
            "plain": plain(text) if field in NAMING else None,
        }
        for field, text in fields.items()
        if text
    ]
    if rows:
        session.execute(insert(RecordText), rows)
        index_of(session).put(
            session,
            RECORDS.index,
            [(row["id"], grams_of_texts(row["body"], row["plain"])) for row in rows],
        )
    spelling.learn(session, [fold(fields.get(field, "")) for field in spelling.FIELDS])


def _take_out(session: Session, texts: Texts, keys: Iterable[int]) -> None:
    columns = (texts.key, texts.body, *(() if texts.plain is None else (texts.plain,)))
    held = session.execute(select(*columns).where(texts.key.in_(keys))).all()
    for key, *parts in held:
        index_of(session).take_out(session, texts.index, key, grams_of_texts(*parts))
    table = Row.metadata.tables[str(texts.entity.__tablename__)]
    session.execute(delete(table).where(texts.key.in_(keys)))


def grams_of_texts(*texts: str | None) -> Grams:
    """The grams that an index keeps of folded texts."""
    return grams_of("\n".join(text or "" for text in texts).encode("utf-8", "surrogatepass"))


def is_scanned(needle: str) -> bool:
    """Whether the needle is too short for the indexes, so that not every listing is read."""
    return len(fold(needle).encode("utf-8", "surrogatepass")) < INDEXED_FROM


def keys(session: Session, texts: Texts, *needles: str) -> Select[int]:
    """The keys, labelled `key`, of the texts that hold all `needles`, whatever the case.

    The needles are taken literally, but spaces and signs do not matter in what names a record.
    Where one is too short for the indexes, records are read through, and of the listings the
    `SCANNED_LISTINGS` newest.
    """
    index = index_of(session)
    asked = [literal(each, index.type) for each in _grams_asked(index, texts, needles)]
    runs = [
        Run(literal(fold(needle)), literal(plain(needle)) if _is_named(texts, needle) else None)
        for needle in needles
    ]
    found = questions.keys(index, texts, asked, runs)
    if asked or texts is not LISTINGS:
        return found
    newest = select(func.max(texts.key)).scalar_subquery()
    return found.where(texts.key > newest - SCANNED_LISTINGS)


def newest(
    session: Session,
    texts: Texts,
    needles: Sequence[str],
    most: int,
    *,
    before: int | None = None,
    only: Sequence[ColumnElement[bool]] = (),
) -> list[int]:
    """The greatest keys of `keys`, those below `before`, at most `most`, the greatest first.

    `only` are conditions on `texts.key`. A needle that is everywhere is found among the newest
    texts, so that it costs no more in a large library.
    """
    if any(map(is_scanned, needles)):
        asked = keys(session, texts, *needles)
        page = questions.below(asked, asked.selected_columns["key"])
        values: dict[str, Any] = {}
    else:
        index = index_of(session)
        names = tuple(_is_named(texts, needle) for needle in needles)
        grams = _grams_asked(index, texts, needles)
        page = questions.newest(index, texts, len(grams), names)
        values = questions.values(grams, map(fold, needles), map(plain, needles))
        if not index.newest_first:
            return _probed(session, texts, page, values, names, most, before, only)
    values |= questions.bounds(before, most)
    return list(session.connection().scalars(page.where(*only), values).all())


def _probed(
    session: Session,
    texts: Texts,
    page: Select[int],
    values: Mapping[str, Any],
    names: tuple[bool, ...],
    most: int,
    before: int | None,
    only: Sequence[ColumnElement[bool]],
) -> list[int]:
    """What the newest texts give, and if that is not enough, what the index gives below them.

    A needle that a good share of the first texts holds is found by reading on, as far as that
    is quicker than to have the index name every text of the library that may hold it.
    """
    connection = session.connection()
    read = questions.between(index_of(session), texts, names).where(*only)
    found: list[int] = []
    looked_at, more = 0, questions.PROBED
    while more <= questions.WORTH_READING:
        asked = questions.bounds(before, most - len(found))
        edge = connection.scalar(questions.edge(texts), {**asked, "most": 1, "past": more})
        found += connection.scalars(read, {**values, **asked, "above": edge or 0}).all()
        if edge is None or len(found) == most:
            return found
        before, looked_at = edge + 1, looked_at + more
        more = looked_at * (most - len(found)) // max(len(found), 1)
    rest = {**values, **questions.bounds(before, most - len(found))}
    return [*found, *connection.scalars(page.where(*only), rest).all()]


def holds(session: Session, texts: Texts, needle: str) -> ColumnElement[bool]:
    """The condition that a row of `texts` is one of those with the `keys`."""
    return texts.key.in_(keys(session, texts, needle))


def _grams_asked(index: GramIndex, texts: Texts, needles: Sequence[str]) -> list[Any]:
    """What to ask of the index; nothing where no needle is long enough for it."""
    indexed = [needle for needle in needles if not is_scanned(needle)]
    if not indexed:
        return []
    return index.asked([list(map(_asked, way)) for way in _ways(texts, indexed)])


def _ways(texts: Texts, needles: Sequence[str]) -> list[list[str]]:
    """The runs that a text has to hold, for each way in which it can hold all the needles."""
    folded = [fold(needle) for needle in needles]
    if texts.plain is None:
        return [folded]
    names = [plain(needle) if _is_name(needle) else fold(needle) for needle in needles]
    return [folded] if names == folded else [folded, names]


def _is_named(texts: Texts, needle: str) -> bool:
    return texts.plain is not None and _is_name(needle)


def _is_name(needle: str) -> bool:
    """Whether enough of the needle is left without its spaces and signs to know a name by it."""
    return not is_scanned(plain(needle))


def _asked(run: str) -> Grams:
    return grams_asked(run.encode("utf-8", "surrogatepass"))
