"""The list of tapes: filtered, counted and paged by the database, named columns only."""

from collections.abc import Callable, Mapping
from typing import Any, TypeAlias

from sqlalchemy import (
    ColumnElement,
    Select,
    SQLColumnExpression,
    String,
    and_,
    case,
    cast,
    func,
    literal,
    or_,
    select,
    true,
    union_all,
)
from sqlalchemy.orm import Session
from sqlmodel import col

from server.catalog.records import VerifiedBy
from server.catalog.tape_values import FacetValue, Sort, TapeQuery, TapeRow
from server.catalog.verification import strength
from server.catalog.vocabulary import Condition, Hazard, Medium
from server.store.images import Decoding, ImageRow, Reading
from server.store.kin import Kinship
from server.store.programs import Program
from server.store.search import holds
from server.store.tapes import Tape
from server.store.texts import RECORDS, RecordText
from server.store.verification import Verification
from server.tape.findings import CheckStatus
from server.tape.formats import FORMATS

NO_IMAGE = "no-image"
"""What stands for the format of a tape that nobody has read yet."""

MOST_VALUES = 40
"""Values of one facet that are told; places can be many."""

AnySelect: TypeAlias = Select[*tuple[Any, ...]]

_WORDS = tuple(VerifiedBy)

_newest = (
    select(func.max(col(Reading.id)))
    .where(col(Reading.tape_id) == col(Tape.id))
    .correlate(Tape)
    .scalar_subquery()
)
_strongest = func.coalesce(
    select(func.max(strength()))
    .where(col(Verification.image_id) == col(Reading.image_id))
    .correlate(Reading)
    .scalar_subquery(),
    0,
)
_kin = (
    select(func.count())
    .select_from(Kinship)
    .where(
        or_(
            col(Kinship.image_a_id) == col(Reading.image_id),
            col(Kinship.image_b_id) == col(Reading.image_id),
        )
    )
    .correlate(Reading)
    .scalar_subquery()
)

_FIELDS: Mapping[str, SQLColumnExpression[Any]] = {
    "format": func.coalesce(col(Decoding.format), NO_IMAGE),
    "medium": col(Tape.medium),
    "condition": col(Tape.condition),
    "check_status": col(Decoding.check_status),
    "verification": case(dict(enumerate(_WORDS)), value=_strongest),
    "place": col(Tape.place),
    "program": col(Tape.program_id),
}


def _joined(statement: AnySelect) -> AnySelect:
    """The statement over tapes, each beside the newest image that was read from it."""
    return (
        statement.select_from(Tape)
        .outerjoin(Reading, col(Reading.id) == _newest)
        .outerjoin(
            Decoding,
            and_(col(Decoding.image_id) == col(Reading.image_id), ~col(Decoding.superseded)),
        )
    )


def rows(session: Session, query: TapeQuery) -> tuple[TapeRow, ...]:
    """The tapes on the page that was asked for."""
    columns: AnySelect = select(
        col(Tape.accession_number),
        col(Tape.title),
        col(Tape.program_id),
        col(Program.title),
        col(Decoding.format),
        col(Decoding.check_status),
        _strongest,
        col(Tape.condition),
        col(Tape.hazard),
        col(Tape.loader_requirement),
        col(Tape.medium),
        col(Tape.levels),
        col(Tape.place),
        col(ImageRow.sha256),
        _kin,
    )
    statement = (
        _joined(columns)
        .outerjoin(Program, col(Program.id) == col(Tape.program_id))
        .outerjoin(ImageRow, col(ImageRow.id) == col(Reading.image_id))
        .where(_matches(session, query.q), *_chosen(query, leaving_out=""))
        .order_by(*_ORDERS[query.sort]())
        .offset((query.page - 1) * query.page_size)
        .limit(query.page_size)
    )
    return tuple(_row(*row) for row in session.execute(statement))


def _row(
    number: str,
    title: str,
    program: int | None,
    program_title: str | None,
    form: str | None,
    check_status: str | None,
    strongest: int,
    condition: str,
    hazard: str,
    loader_requirement: str,
    medium: str,
    levels: int | None,
    place: str,
    sha256: str | None,
    kin: int,
) -> TapeRow:
    return TapeRow(
        accession_number=number,
        title=title,
        program=program,
        program_title=program_title,
        format=form,
        check_status=None if check_status is None else CheckStatus(check_status),
        verification=_WORDS[strongest],
        condition=Condition(condition),
        quarantined=Hazard(hazard).quarantines,
        loader_requirement=loader_requirement,
        medium=Medium(medium),
        levels=levels,
        place=place,
        sha256=sha256,
        kin=kin,
    )


_ORDERS: Mapping[Sort, Callable[[], tuple[Any, ...]]] = {
    Sort.ACCESSION: lambda: (col(Tape.accession_key), col(Tape.id)),
    Sort.TITLE: lambda: (func.lower(col(Tape.title)), col(Tape.id)),
    Sort.NEWEST: lambda: (col(Tape.created_at).desc(), col(Tape.id).desc()),
}


def counts(session: Session, query: TapeQuery) -> tuple[int, dict[str, tuple[FacetValue, ...]]]:
    """How many tapes match, and how many there would be with each value of each facet.

    The count beside a value heeds what was chosen in all other facets, and not in its own:
    several values of one facet mean any of them.
    """
    fields: AnySelect = select(*(field.label(name) for name, field in _FIELDS.items()))
    every_tape = _joined(fields).where(_matches(session, query.q)).cte("every_tape")
    total = select(literal(""), literal(""), func.count()).select_from(every_tape)
    parts = [total.where(*_chosen(query, leaving_out="", of=every_tape.c))]
    parts += [
        select(literal(name), cast(every_tape.c[name], String), func.count())
        .where(*_chosen(query, leaving_out=name, of=every_tape.c))
        .group_by(every_tape.c[name])
        for name in _FIELDS
    ]
    found: dict[str, dict[str, int]] = {name: {} for name in _FIELDS}
    matching = 0
    for name, value, count in session.execute(union_all(*parts)):
        if not name:
            matching = count
        elif value:
            found[name][value] = count
    return matching, {name: _facet(session, query, name, found[name]) for name in found}


def _facet(
    session: Session, query: TapeQuery, name: str, found: dict[str, int]
) -> tuple[FacetValue, ...]:
    chosen = {str(value) for value in getattr(query, name)}
    values = found | {value: found.get(value, 0) for value in chosen}
    ranked = sorted(values, key=lambda value: (value not in chosen, -values[value], value))
    told = ranked[: max(MOST_VALUES, len(chosen))]
    labels = _labels(session, name, told)
    return tuple(
        FacetValue(value, labels.get(value, value), values[value], value in chosen)
        for value in told
    )


def _labels(session: Session, name: str, values: list[str]) -> dict[str, str]:
    if name == "format":
        return {each.name: each.title for each in FORMATS.values()} | {NO_IMAGE: "no image yet"}
    if name != "program":
        return {}
    ids = [int(value) for value in values]
    named = session.execute(
        select(col(Program.id), col(Program.title)).where(col(Program.id).in_(ids))
    )
    return {str(program): title for program, title in named}


def _chosen(query: TapeQuery, *, leaving_out: str, of: Any = None) -> list[ColumnElement[bool]]:
    """A condition for each facet in which something was chosen, but for the one left out."""
    fields = _FIELDS if of is None else of
    return [
        fields[name].in_(getattr(query, name))
        for name in _FIELDS
        if name != leaving_out and getattr(query, name)
    ]


def _matches(session: Session, words: str) -> ColumnElement[bool]:
    """The tapes of which some field, or the title of the program, holds `words`."""
    if not words:
        return true()
    found = select(col(RecordText.object_id)).where(holds(session, RECORDS, words))
    tapes = found.where(col(RecordText.kind) == "tape")
    programs = found.where(col(RecordText.kind) == "program", col(RecordText.field) == "title")
    return or_(col(Tape.id).in_(tapes), col(Tape.program_id).in_(programs))
