"""What a search asks, and what it finds."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Annotated, Final, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from server.catalog.excerpt import Pieces
from server.catalog.inputs import NAME_LENGTH, Input, OrNone
from server.catalog.records import VerifiedBy
from server.catalog.tape_values import FacetValue, Numbers, Words, several
from server.catalog.vocabulary import Condition
from server.tape.findings import CheckStatus

FieldName = Literal[
    "listing",
    "line",
    "sha256",
    "title",
    "accession_number",
    "origin",
    "notes",
    "description",
    "details",
]
"""What holds the run: a listing, a line asked for by its number, or a field of a record."""


class HitKind(StrEnum):
    """What holds what was looked for."""

    LISTING = "listing"
    TAPE = "tape"
    PROGRAM = "program"


Kinds = Annotated[tuple[HitKind, ...], BeforeValidator(several), Field(max_length=len(HitKind))]

Needle = Annotated[
    str,
    StringConstraints(
        max_length=NAME_LENGTH, strip_whitespace=False, pattern=r"^[^\x00-\x1f\x7f]*$"
    ),
]
"""A run of characters within one line: it may begin or end with a space."""

Years = Annotated[
    tuple[Annotated[int, Field(ge=1000, le=9999)], ...],
    BeforeValidator(several),
    Field(max_length=50),
]

FACETS: Final = (
    "format",
    "check_status",
    "verification",
    "language",
    "machine",
    "loader",
    "medium",
    "condition",
    "place",
    "year",
    "contributor",
)
"""What a search can be narrowed by, in the order in which it is told."""


class SearchQuery(Input):
    """What to look for, and in what: several values of one field mean any of them.

    `kind`: where the run may stand. `line` asks for the line of that number, its own or where it
    has none its place, of every listing found. `format`, `check_status`, `language`, `loader`
    and `verification` are those of the image; `medium`, `condition`, `place` and `year` (in
    which it may have been made) those of the tape; `machine` that of the program; `contributor`
    the name of whoever entered the tape or read it. A tape is found by what was read from it, a
    program by its tapes and versions. `facets` asks for the values that would narrow it.
    """

    q: Needle = ""
    line: Annotated[Annotated[int, Field(ge=0, lt=2**31)] | None, OrNone] = None
    kind: Kinds = ()
    format: Words = ()
    check_status: Words = ()
    verification: Words = ()
    language: Words = ()
    machine: Words = ()
    loader: Words = ()
    medium: Words = ()
    condition: Words = ()
    place: Words = ()
    year: Years = ()
    contributor: Words = ()
    program: Numbers = ()
    facets: bool = False
    limit: Annotated[int, Field(ge=1, le=100)] = 20
    cursor: Annotated[Annotated[str, StringConstraints(max_length=200)] | None, OrNone] = None

    @property
    def narrowed_by(self) -> tuple[str, ...]:
        """The facets in which something was chosen."""
        return tuple(name for name in FACETS if getattr(self, name))

    def without(self, facet: str) -> "SearchQuery":
        """The same search, whatever the value of that facet."""
        return self.model_copy(update={facet: (), "cursor": None})


@dataclass(frozen=True, slots=True)
class Hit:
    """One place where the run of characters stands.

    `line` counts the lines of the listing from 1; `lines_found` says how many lines of that
    listing hold the run, of which only the first few are hits; `before` and `after` are the
    lines around it. A hit in a listing carries the image's `sha256`, what its checks say and why
    it is trusted, and the `accession` number of the first tape that it was read from; one of a
    tape its `condition`; `do_not_run` is about that tape, and so is `departed`: that it left the
    collection.
    """

    kind: HitKind
    field: FieldName
    title: str
    excerpt: Pieces
    sha256: str | None = None
    accession: str | None = None
    program: int | None = None
    line: int | None = None
    lines_found: int | None = None
    before: str | None = None
    after: str | None = None
    check_status: CheckStatus | None = None
    verification: VerifiedBy | None = None
    condition: Condition | None = None
    do_not_run: bool = False
    departed: bool = False


@dataclass(frozen=True, slots=True)
class Titled:
    """A tape (by its accession number) or a program that has a title like the one looked for."""

    title: str
    accession: str | None = None
    program: int | None = None


@dataclass(frozen=True, slots=True)
class SearchHelp:
    """How to go on from a search that found nothing, or hardly anything.

    `spelling` is the text as it may have been meant; `near` what has such a title or origin;
    `dropped` how many would be found without each of the facets (at most `COUNTED`).
    """

    spelling: str | None = None
    near: tuple[Titled, ...] = ()
    dropped: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SearchPage:
    """Part of what was found, best first.

    `total` counts the records and listings found, as far as `COUNTED` of each; `total_is_exact`
    says whether that was far enough. `newest_only` says that the run was too short for the
    indexes, so that only the newest listings were read. `facets` are the values of each facet
    among the newest that were found, if they were asked for; `help` is there where little was
    found.
    """

    hits: tuple[Hit, ...]
    total: int
    total_is_exact: bool
    next_cursor: str | None
    newest_only: bool = False
    facets: dict[str, tuple[FacetValue, ...]] = field(default_factory=dict)
    help: SearchHelp | None = None
