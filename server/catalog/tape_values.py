"""What is given and said about a physical tape."""

import re
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated, Final, Generic, Literal, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field

from server.catalog.inputs import Input, Name, OrNone, RequiredName, Text
from server.catalog.records import ImageRecord, ReadingRecord, VerifiedBy
from server.catalog.rights_values import Licence, RightsUri
from server.catalog.vocabulary import (
    CAUTIONS,
    WIDTH_MM,
    Access,
    Acquired,
    Condition,
    Hazard,
    Medium,
    TapeForm,
    forbids_running,
)
from server.tape import measured
from server.tape.findings import CheckStatus

RowT = TypeVar("RowT")

_NUMBER = re.compile(r"[0-9]{4}\.[1-9][0-9]{0,8}(\.[0-9A-Za-z]{1,8}){0,3}")
_DATE = re.compile(r"[0-9]{2}[0-9X]{2}(-[0-9]{2}){0,2}[?~%]?")


def _is_number(text: str) -> str:
    if not _NUMBER.fullmatch(text):
        raise ValueError("write an accession number as the year, a dot and a number: 1978.12")
    return text


def _is_date(text: str) -> str:
    if not all(_DATE.fullmatch(part) for part in text.split("/", 1)):
        raise ValueError("write a date as 1978, 1978-04, 197X, 1978~ (about) or 1976/1979")
    return text


AccessionNumber = Annotated[str, AfterValidator(_is_number)]
"""`year.item`, with up to three parts after it where a tape is in parts: 1978.12.b."""

Made = Annotated[str, AfterValidator(_is_date)]
"""When a tape was made, in a part of ISO 8601-2: 1978, 1978-04, 197X, 1978~, 1976/1979."""

Levels = Annotated[int, Field(ge=5, le=8)]


def several(value: object) -> object:
    """One value, or several; what a form left empty is no value."""
    values = value if isinstance(value, list | tuple | set | frozenset) else (value,)
    return tuple(each for each in values if each not in (None, ""))


Words = Annotated[tuple[Name, ...], BeforeValidator(several), Field(max_length=50)]
RecordNumber = Annotated[int, Field(ge=1, le=2**31 - 1)]
"""What the databases number records by; a greater one cannot even be looked for."""

Numbers = Annotated[tuple[RecordNumber, ...], BeforeValidator(several), Field(max_length=50)]


Width = Annotated[float, Field(gt=0, le=100)]
Length = Annotated[float, Field(gt=0, le=3000)]
"""Ten rolls of 1,000 feet joined would still be less."""

ARCHIVISTS_ONLY: Final = ("acquisition_note", "rights_uri", "licence", "rights_note", "access")
"""What only archivists say of a tape."""


class Described(Input):
    """What is said of a tape, whether it is new or changed.

    `inscriptions` are labels and handwriting as they stand on it. From whom it was acquired is
    told to people who are signed in, `acquisition_note` to archivists.
    """

    program: Annotated[int | None, OrNone] = None
    origin: Text = ""
    medium: Name = Medium.UNKNOWN.value
    levels: Annotated[Levels | None, OrNone] = None
    condition: Condition = Condition.NOT_EXAMINED
    place: Name = ""
    loader_requirement: Name = ""
    made: Annotated[Made | None, OrNone] = None
    notes: Text = ""
    colour: Name = ""
    form: TapeForm = TapeForm.UNKNOWN
    core: Name = ""
    measured_width_mm: Annotated[Width | None, OrNone] = None
    measured_length_m: Annotated[Length | None, OrNone] = None
    inscriptions: Text = ""
    acquired_from: Name = ""
    acquired_on: Annotated[Made | None, OrNone] = None
    acquired_how: Acquired = Acquired.UNKNOWN
    acquisition_note: Text = ""
    rights_uri: RightsUri = ""
    licence: Licence = ""
    rights_note: Text = ""
    access: Access = Access.PUBLIC


class NewTape(Described):
    """A tape to be entered; without an accession number it is given the next of the year."""

    title: RequiredName
    accession_number: Annotated[AccessionNumber | None, OrNone] = None


class TapeChange(Described):
    """What to change of a tape: only what is given."""

    title: RequiredName | None = None
    accession_number: AccessionNumber | None = None


class Departed(StrEnum):
    """Whether a list shows tapes that left the collection."""

    NOT = ""
    TOO = "too"
    ONLY = "only"


class Sort(StrEnum):
    """The order of a page of tapes."""

    ACCESSION = "accession"
    TITLE = "title"
    NEWEST = "newest"


class PageQuery(Input):
    """Which page of a list, and how long it is."""

    page: Annotated[int, Field(ge=1, le=1_000_000)] = 1
    page_size: Annotated[int, Field(ge=1, le=200)] = 50


class TapeQuery(PageQuery):
    """Which tapes: several values of one field mean any of them, several fields mean all."""

    q: Name = ""
    format: Words = ()
    medium: Words = ()
    condition: Words = ()
    check_status: Words = ()
    verification: Words = ()
    place: Words = ()
    program: Numbers = ()
    departed: Departed = Departed.NOT
    sort: Sort = Sort.ACCESSION


FacetName = Literal[
    "format", "medium", "condition", "check_status", "verification", "place", "program"
]


@dataclass(frozen=True, slots=True)
class FacetValue:
    """A value that some tapes have: what to ask for, what to show, and how many have it."""

    value: str
    label: str
    count: int
    chosen: bool


@dataclass(frozen=True, slots=True)
class Page(Generic[RowT]):
    """One page (counted from 1) of `total` rows; `facets` by field, most frequent first."""

    rows: tuple[RowT, ...]
    total: int
    page: int
    page_size: int
    facets: dict[str, tuple[FacetValue, ...]] = field(default_factory=dict)

    @property
    def pages(self) -> int:
        """How many pages there are, at least one."""
        return max(1, -(-self.total // self.page_size))


@dataclass(frozen=True, slots=True)
class TapeRow:
    """A tape in a list, with what its newest image says; None where it has no image."""

    accession_number: str
    title: str
    program: int | None
    program_title: str | None
    format: str | None
    check_status: CheckStatus | None
    verification: VerifiedBy
    condition: Condition
    quarantined: bool
    do_not_run: bool
    loader_requirement: str
    medium: str
    levels: int | None
    place: str
    sha256: str | None
    kin: int


@dataclass(frozen=True, slots=True)
class TapeRecord:
    """A tape and all that is known about it; `image` is its newest.

    `reported_unfit` is whether its newest condition report says not to run it.

    `punching` is the number of the punching that made it, where it is a copy of ours.
    `acquired_from` and `acquisition_note` are None for whom they are not meant.
    """

    accession_number: str
    title: str
    program: int | None
    program_title: str | None
    origin: str
    medium: str
    levels: int | None
    condition: Condition
    hazard: Hazard
    place: str
    loader_requirement: str
    made: str | None
    notes: str
    revision: int
    created: datetime
    changed: datetime
    image: ImageRecord | None
    readings: tuple[ReadingRecord, ...] = ()
    punching: int | None = None
    reported_unfit: bool = False
    colour: str = ""
    form: TapeForm = TapeForm.UNKNOWN
    core: str = ""
    measured_width_mm: float | None = None
    measured_length_m: float | None = None
    inscriptions: str = ""
    acquired_from: str | None = None
    acquired_on: str | None = None
    acquired_how: Acquired = Acquired.UNKNOWN
    acquisition_note: str | None = None
    rights_uri: str = ""
    licence: str = ""
    rights_note: str = ""
    access: Access = Access.PUBLIC
    deaccessioned_on: date | None = None

    @property
    def do_not_run(self) -> bool:
        """Whether no reader may have the tape without an archivist's word."""
        return forbids_running(self.condition, self.hazard, self.reported_unfit)

    @property
    def quarantined(self) -> bool:
        """Whether the tape is held apart, unread and unlent."""
        return self.hazard.quarantines

    @property
    def cautions(self) -> str:
        """What whoever handles the tape must know; empty where there is nothing."""
        return CAUTIONS[self.hazard]

    @property
    def width_mm(self) -> float | None:
        """The nominal width that goes with the levels."""
        return None if self.levels is None else WIDTH_MM[self.levels]

    @property
    def mismeasured(self) -> tuple[str, ...]:
        """Where the tape as it was measured does not fit its image or its levels."""
        told = []
        if self.measured_length_m is not None and self.image is not None:
            told.append(measured.length_difference(self.measured_length_m, self.image.bytes))
        if self.measured_width_mm is not None and self.levels is not None:
            told.append(measured.width_difference(self.measured_width_mm, self.levels))
        return tuple(sentence for sentence in told if sentence)
