"""The state of the library: what share of it is read, verified, described, in danger; its work.

All is counted by indexes, and remembered until anything changes. Tapes that have left the
collection do not count.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import pairwise
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, and_, case, func, or_, select, true
from sqlalchemy.orm import Session
from sqlmodel import col

from server.catalog.vocabulary import Condition, Hazard
from server.catalog.work import Work
from server.store.condition import ConditionReport
from server.store.images import Reading
from server.store.punching import Punching
from server.store.remembered import remembered
from server.store.tapes import Tape
from server.store.verification import Verification

MONTHS: Final = 12
EARLIEST: Final = 1950
"""No work on such tapes is older; a day before it is a slip of the pen."""


@dataclass(frozen=True, slots=True)
class Share:
    """How many of the tapes something is true of; `meaning` says what."""

    name: str
    title: str
    meaning: str
    count: int
    of: int

    @property
    def share(self) -> float:
        """The part of 1; nothing of nothing is 0."""
        return self.count / self.of if self.of else 0.0


@dataclass(frozen=True, slots=True)
class Series:
    """One kind of work, counted month by month."""

    name: str
    title: str
    meaning: str
    months: tuple[int, ...]

    @property
    def total(self) -> int:
        """The whole year's."""
        return sum(self.months)


@dataclass(frozen=True, slots=True)
class State:
    """The library as it stands, and what was done in one year.

    `first` and `last` are the years of the oldest and the newest work that has a day; `unread`
    is how many of the tapes in danger nobody has read yet.
    """

    tapes: int
    shares: tuple[Share, ...]
    unread_in_danger: int
    year: int
    first: int
    last: int
    work: tuple[Series, ...]


_IN_DANGER: Final = or_(
    col(Tape.hazard).in_([each for each in Hazard if each is not Hazard.NONE]),
    col(Tape.condition).in_([Condition.FRAGILE, Condition.UNFIT]),
    col(Tape.reported_unfit),
)
_UNREAD_IN_DANGER: Final = and_(_IN_DANGER, col(Tape.image_id).is_(None))
_SHARES: Final[tuple[tuple[str, str, str, ColumnElement[bool]], ...]] = (
    ("read", "Read", "an image of it is held", col(Tape.image_id) > 0),
    ("verified", "Verified", "something vouches for its newest image", col(Tape.verified) > 0),
    ("described", "Described", "it is known which program it carries", col(Tape.program_id) > 0),
    (
        "looked-at",
        "Looked at",
        "somebody reported its condition",
        col(Tape.last_report).is_not(None),
    ),
    ("in-danger", "In danger", "it is fragile, unfit to run, or holds a hazard", _IN_DANGER),
)


def of(work: Work, year: int | None = None) -> State:
    """The state of the library now, and the work of a year; of the newest that had any."""
    session, today = work.session, work.now.date()
    first, last = remembered(session, "years of work", lambda: _years(session, today))
    year = max(min(year or last, last), first)
    shares, unread = remembered(session, "state of the library", lambda: _shares(session))
    done = remembered(session, ("work of a year", year), lambda: _work(session, year))
    return State(
        tapes=shares[0].of,
        shares=shares,
        unread_in_danger=unread,
        year=year,
        first=first,
        last=last,
        work=done,
    )


def _shares(session: Session) -> tuple[tuple[Share, ...], int]:
    asked = [true(), *(each[-1] for each in _SHARES), _UNREAD_IN_DANGER]
    tapes, *counts, unread = _here(session, asked)
    shares = tuple(
        Share(name, title, meaning, count, tapes)
        for (name, title, meaning, _), count in zip(_SHARES, counts, strict=True)
    )
    return shares, unread


def _here(session: Session, asked: Sequence[ColumnElement[bool]]) -> list[int]:
    """How many tapes of the collection meet each condition: all that do, less those that left.

    An index answers each of the first by itself, and those that left are few; asked together,
    the database would go through the rows.
    """
    every = session.execute(select(*(_counted(Tape, each) for each in asked))).one()
    gone = session.execute(
        select(*(func.sum(case((each, 1), else_=0)) for each in asked)).where(
            col(Tape.deaccessioned_on).is_not(None)
        )
    ).one()
    return [all_of_them - (left or 0) for all_of_them, left in zip(every, gone, strict=True)]


def _counted(table: Any, condition: ColumnElement[bool]) -> ColumnElement[int]:
    """How many rows meet the condition, as a part of a longer question."""
    return select(func.count()).select_from(table).where(condition).scalar_subquery()


@dataclass(frozen=True, slots=True)
class _Dated:
    """Work with its day, or the moment at which it was written down."""

    name: str
    title: str
    meaning: str
    day: Any
    moment: bool = False
    only: ColumnElement[bool] | None = None

    def edge(self, first_of_month: date) -> date | datetime:
        """The beginning of a month as the column holds it."""
        if not self.moment:
            return first_of_month
        return datetime(first_of_month.year, first_of_month.month, 1, tzinfo=UTC)

    def within(self, begin: date, end: date) -> ColumnElement[bool]:
        """That it was done from the one day on, and before the other."""
        limits = and_(self.day >= self.edge(begin), self.day < self.edge(end))
        return limits if self.only is None else and_(self.only, limits)


_CHECKED: Final = "by the day of the check"
_READINGS: Final = ("readings", "Readings", "passes and images taken in")
_WORK: Final = (
    _Dated("entered", "Tapes entered", "new accession numbers", col(Tape.created_at), moment=True),
    _Dated(*_READINGS, col(Reading.read_on)),
    _Dated(*_READINGS, col(Reading.accepted_at), moment=True, only=col(Reading.read_on).is_(None)),
    _Dated("vouched", "Vouched for", "reasons to trust an image", col(Verification.made_at),
           moment=True),
    _Dated("reports", "Condition reports", _CHECKED, col(ConditionReport.checked_on)),
    _Dated("punchings", "Punchings", "reels punched", col(Punching.punched_on)),
)  # fmt: skip


def _work(session: Session, year: int) -> tuple[Series, ...]:
    found: dict[str, Series] = {}
    for each in _WORK:
        counts = session.execute(_by_month(each, year)).one()
        before = found.get(each.name)
        months = tuple(
            (count or 0) + (before.months[at] if before else 0) for at, count in enumerate(counts)
        )
        found[each.name] = Series(each.name, each.title, each.meaning, months)
    return tuple(found.values())


def _by_month(each: _Dated, year: int) -> Select[*tuple[Any, ...]]:
    edges = [date(year, month, 1) for month in range(1, MONTHS + 1)] + [date(year + 1, 1, 1)]
    table = each.day.class_
    return select(*(_counted(table, each.within(begin, end)) for begin, end in pairwise(edges)))


def _years(session: Session, today: date) -> tuple[int, int]:
    """The years of the oldest and the newest work; this year where there is none."""
    begin, end = date(EARLIEST, 1, 1), date(today.year + 1, 1, 1)
    years = [
        found.year
        for each in _WORK
        for edge in (func.min, func.max)
        if (found := session.scalar(select(edge(each.day)).where(each.within(begin, end))))
        is not None
    ]
    return min(years, default=today.year), max(years, default=today.year)
