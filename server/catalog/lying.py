"""Which tapes lie in a place, which belong there and are elsewhere, and which are in none."""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import aliased
from sqlmodel import col

from server.catalog.handling import is_not_to_be_run
from server.catalog.narrowing import AnySelect
from server.catalog.place_records import ids_within, place_of
from server.catalog.place_values import State
from server.catalog.tape_values import Page, PageQuery
from server.catalog.vocabulary import Condition, Hazard
from server.catalog.work import Role, Work
from server.store.places import Place, Whereabouts, within
from server.store.tapes import Tape

MOST: Final = 2000
"""Tapes of one list on paper."""


@dataclass(frozen=True, slots=True)
class Lying:
    """A tape where it is: `where` as it is written, `usual` where it belongs, if it is known."""

    accession_number: str
    title: str
    where: str
    place: int | None
    usual: str
    condition: Condition
    quarantined: bool
    do_not_run: bool

    @property
    def is_at_home(self) -> bool:
        """Whether it lies just where it belongs."""
        return self.where == self.usual


def within_place(work: Work, place_id: int, query: PageQuery) -> Page[Lying]:
    """One page of the tapes in a place at any depth, box after box.

    Raises:
        NotSignedIn: where things are kept is told to those who work here.
        NotFound: there is none of that id.
    """
    condition = _within(work, place_id)
    counted = select(func.count()).select_from(Whereabouts).join(
        Place, col(Place.id) == col(Whereabouts.place_id)
    )  # fmt: skip
    total = work.session.scalar(counted.where(condition)) or 0
    part = _rows().where(condition).offset((query.page - 1) * query.page_size)
    found = _told(work, part.limit(query.page_size))
    return Page(found, total, query.page, query.page_size)


def all_within(work: Work, place_id: int) -> tuple[Lying, ...]:
    """The first `MOST` of the tapes in a place at any depth.

    Raises:
        NotSignedIn, NotFound: as `within_place`.
    """
    return _told(work, _rows().where(_within(work, place_id)).limit(MOST))


def away_from(work: Work, place_id: int) -> tuple[Lying, ...]:
    """The tapes that belong into a place, at any depth, and are not in it.

    Raises:
        NotSignedIn, NotFound: as `within_place`.
    """
    work.actor.require(Role.VOLUNTEER)
    inside = ids_within(work, place_id)
    elsewhere = col(Whereabouts.place_id).is_(None) | col(Whereabouts.place_id).not_in(inside)
    question = _rows().where(col(Whereabouts.usual_id).in_(inside), elsewhere).limit(MOST)
    return _told(work, question)


def in_no_place(work: Work) -> tuple[int, int]:
    """How many tapes are missing, and how many are lent."""
    rows = work.session.execute(
        select(col(Whereabouts.state), func.count())
        .where(col(Whereabouts.state).in_((State.MISSING, State.ON_LOAN)))
        .group_by(col(Whereabouts.state))
    )
    counted: dict[str, int] = dict(rows.all())
    return counted.get(State.MISSING, 0), counted.get(State.ON_LOAN, 0)


def _within(work: Work, place_id: int) -> ColumnElement[bool]:
    work.actor.require(Role.VOLUNTEER)
    return within(place_of(work, place_id).path_key)


def _rows() -> AnySelect:
    usual = aliased(Place)
    rows: AnySelect = (
        select(
            col(Tape.accession_number),
            col(Tape.title),
            col(Tape.place),
            col(Whereabouts.place_id),
            func.coalesce(col(usual.path), ""),
            col(Tape.condition),
            col(Tape.hazard),
            is_not_to_be_run(),
        )
        .join(Whereabouts, col(Whereabouts.tape_id) == col(Tape.id))
        .outerjoin(Place, col(Place.id) == col(Whereabouts.place_id))
        .outerjoin(usual, col(usual.id) == col(Whereabouts.usual_id))
        .order_by(col(Place.path_key), col(Tape.accession_key))
    )
    return rows


def _told(work: Work, question: AnySelect) -> tuple[Lying, ...]:
    found = work.session.execute(question)
    return tuple(
        Lying(
            number,
            title,
            where,
            place,
            usual,
            Condition(state),
            Hazard(hazard).quarantines,
            bool(barred),
        )
        for number, title, where, place, usual, state, hazard, barred in found
    )
