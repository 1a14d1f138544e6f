"""What a search is limited to, as conditions on what holds the text."""

from typing import Any, TypeAlias

from sqlalchemy import (
    ColumnElement,
    SQLColumnExpression,
    Subquery,
    and_,
    exists,
    false,
    or_,
    select,
    true,
)
from sqlmodel import col

from server.catalog.search_sources import Bundle, Bundles
from server.catalog.search_values import HitKind, SearchQuery
from server.store.images import Reading
from server.store.programs import Version
from server.store.tapes import Tape
from server.store.texts import RecordText

Condition: TypeAlias = ColumnElement[bool]
Number: TypeAlias = SQLColumnExpression[Any]


def of_listings(query: SearchQuery, image_id: Number, bundles: Bundles) -> list[Condition]:
    """What the query asks of a listing, by the id of its image; nothing if not narrowed."""
    if _is_open(query):
        return []
    of_facets = _of_facets(query, bundles[HitKind.LISTING], image_id)
    conditions = [_admits(query, HitKind.LISTING), *of_facets]
    if query.program:
        read = (
            select(col(Reading.id))
            .join(Tape, col(Tape.id) == col(Reading.tape_id))
            .where(col(Reading.image_id) == image_id, col(Tape.program_id).in_(query.program))
        )
        version = select(col(Version.id)).where(
            col(Version.image_id) == image_id, col(Version.program_id).in_(query.program)
        )
        conditions.append(or_(read.exists(), version.exists()))
    return conditions


def of_records(query: SearchQuery, bundles: Bundles) -> list[Condition]:
    """Which fields of tapes and programs the query admits; nothing where that is all of them."""
    if _is_open(query):
        return []
    kind, number = col(RecordText.kind), col(RecordText.object_id)
    ways = []
    for each in (HitKind.TAPE, HitKind.PROGRAM):
        conditions = [_admits(query, each), *_of_facets(query, bundles[each], number)]
        if query.program:
            conditions.append(_of_program(query, each, number))
        ways.append(and_(kind == each, *conditions))
    return [or_(*ways)]


def _is_open(query: SearchQuery) -> bool:
    return not (query.kind or query.program or query.narrowed_by)


def _of_program(query: SearchQuery, kind: HitKind, number: Number) -> Condition:
    if kind is HitKind.PROGRAM:
        return number.in_(query.program)
    return (
        select(col(Tape.id))
        .where(col(Tape.id) == number, col(Tape.program_id).in_(query.program))
        .exists()
    )


def _admits(query: SearchQuery, kind: HitKind) -> Condition:
    """Whether the query asks for hits of that kind at all."""
    return true() if not query.kind or kind in query.kind else false()


def _of_facets(query: SearchQuery, bundles: tuple[Bundle, ...], thing: Number) -> list[Condition]:
    """For each bundle in which something was chosen, that some row has all of it."""
    conditions = []
    for bundle in bundles:
        chosen = [name for name in bundle.facets if getattr(query, name)]
        if chosen:
            ways = [
                exists(
                    select(source.c.thing).where(
                        source.c.thing == thing, *(_is(query, source, name) for name in chosen)
                    )
                )
                for source in bundle.sources
            ]
            conditions.append(or_(*ways))
    return conditions


def _is(query: SearchQuery, source: Subquery, name: str) -> Condition:
    if name == "year":
        return or_(*(and_(source.c.year_from <= y, source.c.year >= y) for y in query.year))
    return source.c[name].in_(getattr(query, name))
