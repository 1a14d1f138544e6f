"""What a search is limited to, as conditions on what holds the text."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, false, func, or_, select, true
from sqlmodel import col

from server.catalog.records import VerifiedBy
from server.catalog.search_values import HitKind, SearchQuery
from server.catalog.verification import strength
from server.store.images import Decoding, ImageRow, Reading
from server.store.programs import Version
from server.store.tapes import Tape
from server.store.texts import RecordText
from server.store.verification import Verification

Condition = ColumnElement[bool]
Ids = Select[Any]
"""A query for ids."""


def of_listings(query: SearchQuery, image_id: ColumnElement[int]) -> list[Condition]:
    """What the query asks of a listing, by the id of its image."""
    conditions: list[Condition] = []
    if query.kind and HitKind.LISTING not in query.kind:
        conditions.append(false())
    images, tapes = _images(query), _tapes(query)
    if images is not None:
        conditions.append(image_id.in_(images))
    if tapes is not None:
        conditions.append(image_id.in_(_read_from(tapes)))
    if query.program:
        of_program = select(col(Tape.id)).where(col(Tape.program_id).in_(query.program))
        versions = select(col(Version.image_id)).where(col(Version.program_id).in_(query.program))
        conditions.append(or_(image_id.in_(_read_from(of_program)), image_id.in_(versions)))
    return conditions


def of_records(query: SearchQuery) -> Condition:
    """Which fields of tapes and programs the query admits."""
    kind = col(RecordText.kind)
    return or_(
        and_(kind == HitKind.TAPE, _admits(query, HitKind.TAPE), *_of_tapes(query)),
        and_(kind == HitKind.PROGRAM, _admits(query, HitKind.PROGRAM), *_of_programs(query)),
    )


def _admits(query: SearchQuery, kind: HitKind) -> Condition:
    """Whether the query asks for hits of that kind at all."""
    return true() if not query.kind or kind in query.kind else false()


def _of_tapes(query: SearchQuery) -> list[Condition]:
    found = _tapes_read_as(query)
    conditions: list[Condition] = []
    if found is not None:
        conditions.append(col(RecordText.object_id).in_(found))
    if query.program:
        of_program = select(col(Tape.id)).where(col(Tape.program_id).in_(query.program))
        conditions.append(col(RecordText.object_id).in_(of_program))
    return conditions


def _of_programs(query: SearchQuery) -> list[Condition]:
    """A program is admitted by its tapes, and where only images matter by its versions too."""
    program_id = col(RecordText.object_id)
    conditions: list[Condition] = []
    if query.program:
        conditions.append(program_id.in_(query.program))
    tapes, images = _tapes_read_as(query), _images(query)
    if tapes is None:
        return conditions
    ways = [program_id.in_(select(col(Tape.program_id)).where(col(Tape.id).in_(tapes)))]
    if images is not None and _tapes(query) is None:
        versions = select(col(Version.program_id)).where(col(Version.image_id).in_(images))
        ways.append(program_id.in_(versions))
    return [*conditions, or_(*ways)]


def _tapes_read_as(query: SearchQuery) -> Ids | None:
    """The tapes that the query asks for, from which such images were read as it asks for."""
    tapes, images = _tapes(query), _images(query)
    if images is None:
        return tapes
    found = select(col(Reading.tape_id)).where(col(Reading.image_id).in_(images))
    return found if tapes is None else found.where(col(Reading.tape_id).in_(tapes))


def _read_from(tapes: Ids) -> Ids:
    return select(col(Reading.image_id)).where(col(Reading.tape_id).in_(tapes))


def _tapes(query: SearchQuery) -> Ids | None:
    """The tapes that the query asks for; None where it asks for none in particular."""
    asked = {
        col(Tape.medium): query.medium,
        col(Tape.condition): query.condition,
        col(Tape.place): query.place,
    }
    if not any(asked.values()):
        return None
    return select(col(Tape.id)).where(*_any_of(asked))


def _images(query: SearchQuery) -> Ids | None:
    """The images that the query asks for; None where it asks for none in particular."""
    asked = {
        col(Decoding.format): query.format,
        col(Decoding.check_status): query.check_status,
        col(Decoding.language): query.language,
        col(Decoding.loader): query.loader,
    }
    if not any(asked.values()) and not query.verification:
        return None
    found = select(col(Decoding.image_id)).where(~col(Decoding.superseded), *_any_of(asked))
    if query.verification:
        found = found.where(col(Decoding.image_id).in_(_verified_by(query.verification)))
    return found


def _any_of(asked: Mapping[Any, Sequence[str]]) -> list[Condition]:
    return [column.in_(values) for column, values in asked.items() if values]


def _verified_by(words: Sequence[str]) -> Ids:
    """The images whose strongest evidence is one of `words`; without any it is the weakest."""
    strongest = func.coalesce(func.max(strength()), 0)
    places = [place for place, word in enumerate(VerifiedBy) if word in words]
    return (
        select(col(ImageRow.id))
        .outerjoin(Verification, col(Verification.image_id) == col(ImageRow.id))
        .group_by(col(ImageRow.id))
        .having(strongest.in_(places))
    )
