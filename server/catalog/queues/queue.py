"""What a queue of work is: what it asks, whom it is for, and which steps settle it."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Self

from server.catalog.narrowing import AnySelect
from server.catalog.work import Role, Work


class About(StrEnum):
    """What a queue lists, and so which ids its question gives."""

    TAPE = "tape"
    IMAGE = "image"
    PAIR = "pair"
    """Two images, that of the smaller id first."""
    REQUEST = "request"


@dataclass(frozen=True, slots=True)
class Asked:
    """What a question may depend on: the day, and the years after which a report is old."""

    today: date
    report_years: int

    @classmethod
    def at(cls, work: Work, report_years: int) -> Self:
        """What is asked in this unit of work."""
        return cls(work.now.date(), report_years)

    @property
    def years(self) -> str:
        """The years after which a report is old, in words."""
        return "a year" if self.report_years == 1 else f"{self.report_years} years"

    @property
    def oldest_report(self) -> date:
        """The last day on which a report is old; on 28 February where there is no 29th."""
        year = max(date.min.year, self.today.year - self.report_years)
        try:
            return self.today.replace(year=year)
        except ValueError:
            return self.today.replace(year=year, day=28)


@dataclass(frozen=True, slots=True)
class Place:
    """What a step may depend on: accession number and names of images; None where there is none."""

    tape: str | None = None
    image: str | None = None
    other: str | None = None
    quarantined: bool = False
    do_not_run: bool = False
    request: int | None = None


def always(place: Place) -> bool:
    """A step that everything in the queue offers."""
    del place
    return True


def may_be_handled(place: Place) -> bool:
    """A step that needs the tape in a reader, and so none that may not be run."""
    return place.tape is not None and not place.do_not_run


def has_tape(place: Place) -> bool:
    """A step on the tape that an image was read from."""
    return place.tape is not None


def has_no_tape(place: Place) -> bool:
    """A step for an image of which nobody knows the tape."""
    return place.tape is None


@dataclass(frozen=True, slots=True)
class Step:
    """What settles something in a queue: its words, and the page where it is done.

    `address` may name {tape}, {image}, {other} and {request}; `fits` says whether the step is
    one here.
    """

    words: str
    address: str
    role: Role = Role.VOLUNTEER
    fits: Callable[[Place], bool] = always

    def leads_to(self, place: Place) -> str:
        """The path of the page."""
        return self.address.format(
            tape=place.tape, image=place.image, other=place.other, request=place.request
        )


def nothing(work: Work, found: Collection[tuple[int, ...]]) -> dict[tuple[int, ...], str]:
    """What a queue tells of its entries that has nothing of its own to tell."""
    del work, found
    return {}


@dataclass(frozen=True, slots=True)
class Queue:
    """One list of work; it is whatever its question finds at the moment.

    `title`, `meaning` and `todo` may name {years}. `asks` gives the ids of what the queue holds,
    in the order of the list, from tables as they stand: nothing is ever put into a queue, and
    whatever settles its condition takes it out. `actions` are names of bulk actions that fit
    besides those that fit every queue. `well_done` is said where it is empty; `tells` what to say
    of some of its entries, by their ids.
    """

    name: str
    title: str
    meaning: str
    todo: str
    well_done: str
    role: Role
    about: About
    asks: Callable[[Asked], AnySelect]
    steps: tuple[Step, ...]
    actions: tuple[str, ...] = ()
    tells: Callable[[Work, Collection[tuple[int, ...]]], dict[tuple[int, ...], str]] = nothing
