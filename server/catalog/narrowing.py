"""Narrowing the list of tapes: by words, and by facets of the tape and of its newest image."""

from collections.abc import Collection, Mapping
from typing import Any, Final, TypeAlias

from sqlalchemy import ColumnElement, Select, SQLColumnExpression, case, func, or_, select
from sqlalchemy.orm import Session, aliased
from sqlmodel import col

from server.catalog.records import VerifiedBy
from server.catalog.tape_values import Departed, TapeQuery
from server.store.programs import Program
from server.store.search import holds
from server.store.tapes import Tape
from server.store.texts import RECORDS, RecordText

AnySelect: TypeAlias = Select[*tuple[Any, ...]]
Fields: TypeAlias = Mapping[str, SQLColumnExpression[Any]]

NO_IMAGE: Final = "no-image"
"""What stands for the format of a tape that nobody has read yet."""

WORDS: Final = tuple(VerifiedBy)

TAPE_FIELDS: Final[Fields] = {
    "medium": col(Tape.medium),
    "condition": col(Tape.condition),
    "place": col(Tape.place),
    "program": col(Tape.program_id),
}

IMAGE_FIELDS: Final[Fields] = {
    "format": func.coalesce(col(Tape.format), NO_IMAGE),
    "check_status": func.coalesce(col(Tape.check_status), ""),
    "verification": case(dict(enumerate(WORDS)), value=col(Tape.verified)),
}
"""Facets of the newest image that was read from a tape, which the tape's row repeats."""

FIELDS: Final[Fields] = {**TAPE_FIELDS, **IMAGE_FIELDS}


def chosen(query: TapeQuery, name: str) -> Collection[str]:
    """The values that were chosen of a facet."""
    return [str(value) for value in getattr(query, name)]


def conditions(query: TapeQuery, fields: Fields, *, besides: str = "") -> list[ColumnElement[bool]]:
    """A condition for each of the facets in `fields` in which something was chosen."""
    return [
        field.in_(getattr(query, name))
        for name, field in fields.items()
        if name != besides and getattr(query, name)
    ]


_GONE: Final = aliased(Tape)

LEFT: Final = select(col(_GONE.id)).where(col(_GONE.deaccessioned_on).is_not(None)).correlate(None)
"""The ids of the tapes that left the collection: few, and an index holds them all."""

_ANY_LEFT: Final = LEFT.limit(1)
_IS_GONE: Final = col(Tape.id).in_(LEFT)
IS_HERE: Final = col(Tape.id).not_in(LEFT)
"""That a tape is in the collection. Made once, for every list asks it."""


def of_shelf(session: Session, departed: Departed) -> list[ColumnElement[bool]]:
    """The condition that tapes are in the collection, or are not; none while none ever left."""
    if departed is Departed.ONLY:
        return [_IS_GONE]
    if departed is Departed.TOO or session.connection().scalar(_ANY_LEFT) is None:
        return []
    return [IS_HERE]


def of_words(session: Session, words: str) -> list[ColumnElement[bool]]:
    """The condition that some field of a tape, or the title of its program, holds `words`."""
    if not words:
        return []
    found = select(col(RecordText.object_id)).where(holds(session, RECORDS, words))
    tapes = found.where(col(RecordText.kind) == "tape")
    programs = found.where(col(RecordText.kind) == "program", col(RecordText.field) == "title")
    return [or_(col(Tape.id).in_(tapes), col(Tape.program_id).in_(programs))]


def titles_of(session: Session, programs: Collection[str]) -> dict[str, str]:
    """The titles of programs, by their ids in text."""
    ids = [int(program) for program in programs]
    named = session.execute(
        select(col(Program.id), col(Program.title)).where(col(Program.id).in_(ids))
    )
    return {str(program): title for program, title in named}
