"""What is given and said about shelf checks."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Annotated, Final

from pydantic import BeforeValidator, Field

from server.catalog.inputs import Input, Name, OrNone, Text
from server.catalog.place_values import PlaceLink
from server.catalog.tape_values import PageQuery, RecordNumber, several

MOST: Final = 2000
"""Tapes of one check: more than anybody looks through in one go."""


class Outcome(StrEnum):
    """What became of a tape in a check, from its closing on."""

    AS_EXPECTED = "where it should be"
    ELSEWHERE = "in another place of those looked through"
    NOT_EXPECTED = "not expected here"
    NOT_FOUND = "not found"
    MOVED_MEANWHILE = "moved while the check went on"

    @property
    def differs(self) -> bool:
        """Whether it is one of those that the report points out."""
        return self is not Outcome.AS_EXPECTED


Seen = Annotated[tuple[Name, ...], BeforeValidator(several), Field(max_length=200)]


class Found(Input):
    """Tapes that were seen: where they were expected, or in the place given."""

    tapes: Seen
    place: Annotated[RecordNumber | None, OrNone] = None


class Closing(Input):
    """How to close a check: whether its differences are entered as moves, and a note."""

    mark_missing: bool = False
    move_found: bool = False
    note: Text = ""


class CheckQuery(PageQuery):
    """Which checks: of one place, or all."""

    place: Annotated[RecordNumber | None, OrNone] = None


@dataclass(frozen=True, slots=True)
class CheckRow:
    """A check in a list; `differing` is told once it is closed."""

    id: int
    place: PlaceLink
    begun: datetime
    begun_by: str
    closed: datetime | None
    expected: int
    found: int
    differing: int | None


@dataclass(frozen=True, slots=True)
class CheckItem:
    """A tape in a check; `found` where it was seen, `by` and `at` who saw it when."""

    tape: str
    title: str
    expected: PlaceLink | None
    expected_where: str
    found: PlaceLink | None
    at: datetime | None
    by: str
    outcome: Outcome | None
    quarantined: bool
    do_not_run: bool


@dataclass(frozen=True, slots=True)
class CheckRecord:
    """A check with all of its tapes; `outcome` of each is what it would be, or is, when closed."""

    id: int
    place: PlaceLink
    inside: tuple[PlaceLink, ...]
    begun: datetime
    begun_by: str
    closed: datetime | None
    closed_by: str | None
    note: str
    items: tuple[CheckItem, ...]
    revision: int

    @property
    def expected(self) -> int:
        """How many tapes should be there."""
        return sum(item.expected is not None for item in self.items)

    @property
    def found(self) -> int:
        """How many of those were seen."""
        return sum(item.expected is not None and item.found is not None for item in self.items)

    def having(self, *outcomes: Outcome) -> tuple[CheckItem, ...]:
        """The tapes of these outcomes."""
        return tuple(item for item in self.items if item.outcome in outcomes)
