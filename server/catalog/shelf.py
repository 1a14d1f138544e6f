"""The rows of a list of tapes: filtered and paged by the database, named columns only."""

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

from sqlalchemy import ColumnElement, bindparam, func, literal, select
from sqlalchemy.orm import Session
from sqlmodel import col

from server.catalog import narrowing
from server.catalog.narrowing import FIELDS, WORDS, AnySelect
from server.catalog.tape_values import Sort, TapeQuery, TapeRow
from server.catalog.vocabulary import Condition, Hazard, forbids_running
from server.store.images import ImageRow
from server.store.kin import Kinship
from server.store.programs import Program
from server.store.tapes import Tape
from server.tape.findings import CheckStatus

_KIN = sum(
    (
        select(func.count())
        .select_from(Kinship)
        .where(mine == col(Tape.image_id))
        .correlate(Tape)
        .scalar_subquery()
        for mine in (col(Kinship.image_a_id), col(Kinship.image_b_id))
    ),
    literal(0),
)

_COLUMNS: AnySelect = (
    select(
        col(Tape.accession_number),
        col(Tape.title),
        col(Program.id),
        col(Program.title),
        col(Tape.format),
        col(Tape.check_status),
        col(Tape.verified),
        col(Tape.condition),
        col(Tape.hazard),
        col(Tape.reported_unfit),
        col(Tape.loader_requirement),
        col(Tape.medium),
        col(Tape.levels),
        col(Tape.place),
        col(ImageRow.sha256),
        _KIN,
    )
    .select_from(Tape)
    .outerjoin(Program, col(Program.id) == col(Tape.program_id))
    .outerjoin(ImageRow, col(ImageRow.id) == col(Tape.image_id))
)

_ORDERS: Mapping[Sort, Callable[[], tuple[Any, ...]]] = {
    Sort.ACCESSION: lambda: (col(Tape.accession_key), col(Tape.id)),
    Sort.TITLE: lambda: (func.lower(col(Tape.title)), col(Tape.id)),
    Sort.NEWEST: lambda: (col(Tape.created_at).desc(), col(Tape.id).desc()),
}


def rows(session: Session, query: TapeQuery) -> tuple[TapeRow, ...]:
    """The tapes on the page that was asked for."""
    here = narrowing.of_shelf(session, query.departed)
    asked = [*narrowing.of_words(session, query.q), *narrowing.conditions(query, FIELDS)]
    statement = _page(query.sort, *here, *asked) if asked else _whole(query.sort, *here)
    part = {"start": (query.page - 1) * query.page_size, "size": query.page_size}
    return tuple(_row(*row) for row in session.connection().execute(statement, part))


@cache
def _whole(sort: Sort, *here: ColumnElement[bool]) -> AnySelect:
    """Any page of all tapes. To make the statement takes longer than to answer it: kept."""
    return _page(sort, *here)


def _page(sort: Sort, *conditions: ColumnElement[bool]) -> AnySelect:
    order = _ORDERS[sort]()
    ids = (
        select(col(Tape.id))
        .where(*conditions)
        .order_by(*order)
        .offset(bindparam("start"))
        .limit(bindparam("size"))
    )
    return _COLUMNS.where(col(Tape.id).in_(ids)).order_by(*order)


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
    reported_unfit: bool,
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
        verification=WORDS[strongest],
        condition=Condition(condition),
        quarantined=Hazard(hazard).quarantines,
        do_not_run=forbids_running(condition, hazard, reported_unfit),
        loader_requirement=loader_requirement,
        medium=medium,
        levels=levels,
        place=place,
        sha256=sha256,
        kin=kin,
    )
