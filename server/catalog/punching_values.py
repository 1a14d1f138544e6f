"""What is given and said about a punching: a reel that is made from an image."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated, Any, Final

from pydantic import Field

from server.catalog.inputs import Input, Name, OrNone, RequiredName, Sha256, Text
from server.catalog.records import VersionLink
from server.catalog.tape_values import AccessionNumber, PageQuery, RecordNumber
from server.catalog.uploads import FileName
from server.tape.image import FRAME_PITCH_MM, Span
from server.tape.read_back import Comparison

FASTEST: Final = 1000
"""Frames a second that no punch reaches (common practice, no source)."""


class Status(StrEnum):
    """How far a punching has come."""

    PREPARED = "prepared"
    """Its frames wait for the punch."""
    PUNCHED = "punched"
    """The tape is made, and nobody has read it back."""
    SAME = "read back: same"
    """What was read is what was prepared; the tape was accessioned."""
    DIFFERS = "read back: differs"
    """What was read last is not what was prepared."""
    GIVEN_UP = "given up"
    """No tape came of it."""

    @property
    def open(self) -> bool:
        """Whether something is still to be done about it."""
        return self not in (Status.SAME, Status.GIVEN_UP)


class Punched(Input):
    """What was punched on, by which machine, how fast (frames a second), and on which day."""

    medium: RequiredName
    punch: Name = ""
    rate: Annotated[
        Annotated[float, Field(gt=0, le=FASTEST, allow_inf_nan=False)] | None, OrNone
    ] = None
    punched_on: Annotated[date | None, OrNone] = None
    note: Text = ""


class GivenUp(Input):
    """Why a punching comes to nothing; may be left out."""

    note: Text = ""


class ReadBackFile(Input):
    """A reading of a punched tape: the frames, on which reader and when."""

    file_name: FileName
    data: bytes
    read_on: Annotated[date | None, OrNone] = None
    reader: Name = ""
    sha256: Annotated[Sha256 | None, OrNone] = None


class PunchingQuery(PageQuery):
    """Which punchings: those of a tape, an image or a program, of one status, or all."""

    tape: Annotated[AccessionNumber | None, OrNone] = None
    image: Annotated[Sha256 | None, OrNone] = None
    program: Annotated[RecordNumber | None, OrNone] = None
    status: Annotated[Status | None, OrNone] = None


@dataclass(frozen=True, slots=True)
class ReelLink:
    """One of the reels that were prepared together."""

    id: int
    reel: int
    status: Status
    tape: str | None


@dataclass(frozen=True, slots=True)
class ReadBackRecord:
    """One reading of the punched tape, and how it compared; `image` where it was the same."""

    id: int
    comparison: Comparison
    sha256: str
    frames: int
    file_name: str
    read_on: date | None
    reader: str
    at: datetime
    by: str
    image: str | None


@dataclass(frozen=True, slots=True)
class PunchingRow:
    """A punching in a list; `do_not_run` is about the tape that it made."""

    id: int
    title: str
    reel: int
    reels: int
    status: Status
    image: str
    version: VersionLink | None
    tape: str | None
    frames: int
    prepared_at: datetime
    prepared_by: str
    do_not_run: bool = False


@dataclass(frozen=True, slots=True)
class PunchingRecord:
    """A punching, step by step.

    `sha256` names the prepared frames, `image` what they came of, which is `from_verified` where
    anything vouches for it. `data` spans the frames that carry the content; `together` lists all
    reels of the program, this one too; `read_backs` the readings of the new tape, oldest first.
    """

    id: int
    status: Status
    title: str
    reel: int
    reels: int
    together: tuple[ReelLink, ...]
    image: str
    from_verified: bool
    version: VersionLink | None
    preparation: dict[str, Any]
    changes: tuple[str, ...]
    cautions: tuple[str, ...]
    lettering: str
    format: str
    sha256: str
    frames: int
    levels: int
    data: Span
    prepared_at: datetime
    prepared_by: str
    punched_on: date | None
    punched_at: datetime | None
    punched_by: str | None
    medium: str | None
    punch: str
    rate: float | None
    note: str
    tape: str | None
    read_backs: tuple[ReadBackRecord, ...]
    revision: int

    @property
    def length_mm(self) -> float:
        """The length of the tape, leader and trailer included."""
        return round(self.frames * FRAME_PITCH_MM, 2)

    @property
    def last_read_back(self) -> ReadBackRecord | None:
        """The newest reading of the tape, if it was read at all."""
        return self.read_backs[-1] if self.read_backs else None
