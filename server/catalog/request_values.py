"""What is given and said about requests by demonstrators."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated

from pydantic import model_validator

from server.catalog.inputs import Input, Name, OrNone, RequiredText, Text
from server.catalog.punching_values import PunchingRow
from server.catalog.records import TapeLink
from server.catalog.tape_values import AccessionNumber, PageQuery, RecordNumber


class RequestStatus(StrEnum):
    """How far a request has come."""

    OPEN = "open"
    PUNCHED = "punched for it"
    HANDED_OUT = "handed out"
    WITHDRAWN = "withdrawn"


class NewRequest(Input):
    """A tape, or any tape of a program, wanted for a day."""

    tape: Annotated[AccessionNumber | None, OrNone] = None
    program: Annotated[RecordNumber | None, OrNone] = None
    wanted_on: date
    purpose: RequiredText

    @model_validator(mode="after")
    def _is_of_one(self) -> "NewRequest":
        if (self.tape is None) == (self.program is None):
            raise ValueError("name a tape or a program, one of the two")
        return self


class Punched(Input):
    """The punching that settles a request."""

    punching: RecordNumber


class HandedOut(Input):
    """The tape that settles a request and where it goes, with an archivist's reason if need be."""

    tape: AccessionNumber
    place: Name = ""
    reason: Text = ""


class Withdrawal(Input):
    """Why nothing comes of a request."""

    why: Text = ""


class RequestQuery(PageQuery):
    """Which requests: of one tape, one program, one status."""

    tape: Annotated[AccessionNumber | None, OrNone] = None
    program: Annotated[RecordNumber | None, OrNone] = None
    status: Annotated[RequestStatus | None, OrNone] = None


@dataclass(frozen=True, slots=True)
class RequestRow:
    """A request in a list; `days` until it is wanted, while it is open."""

    id: int
    title: str
    tape: str | None
    program: int | None
    wanted_on: date
    purpose: str
    status: RequestStatus
    asked_by: str
    days: int | None


@dataclass(frozen=True, slots=True)
class RequestRecord:
    """A request, and what could settle it.

    `tapes` carry what is wanted, each with where it is; `images` are those to punch from, each
    with its label; `punchings` are those of them that gave a tape since it was asked for.
    """

    id: int
    title: str
    tape: str | None
    program: int | None
    wanted_on: date
    purpose: str
    status: RequestStatus
    asked_at: datetime
    asked_by: str
    settled_at: datetime | None
    settled_by: str | None
    punching: int | None
    handed: str | None
    note: str
    days: int | None
    revision: int
    tapes: tuple[tuple[TapeLink, str], ...] = ()
    images: tuple[tuple[str, str], ...] = ()
    punchings: tuple[PunchingRow, ...] = ()
