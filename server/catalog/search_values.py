"""What a search asks, and what it finds."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from server.catalog.excerpt import Pieces
from server.catalog.inputs import NAME_LENGTH, Input, OrNone
from server.catalog.tape_values import Numbers, Words, several

FieldName = Literal["listing", "title", "accession_number", "origin", "notes", "description"]
"""Where in a listing or a record the run stands."""


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


class SearchQuery(Input):
    """What to look for, and in what: several values of one field mean any of them.

    `kind`: where the run may stand. `format`, `check_status`, `language`, `loader` and
    `verification` are those of the image; `medium`, `condition`, `place` and `program` those of
    the tape. A tape is found by what was read from it, a program by its tapes and versions.
    """

    q: Needle = ""
    kind: Kinds = ()
    format: Words = ()
    check_status: Words = ()
    language: Words = ()
    loader: Words = ()
    verification: Words = ()
    medium: Words = ()
    condition: Words = ()
    place: Words = ()
    program: Numbers = ()
    limit: Annotated[int, Field(ge=1, le=100)] = 20
    cursor: Annotated[Annotated[str, StringConstraints(max_length=200)] | None, OrNone] = None


@dataclass(frozen=True, slots=True)
class Hit:
    """One place where the run of characters stands.

    `line` counts the lines of the listing from 1; `lines_found` says how many lines of that
    listing hold the run, of which only the first few are hits. A hit in a listing carries the
    image's `sha256`, and the `accession` number of the first tape that it was read from.
    """

    kind: HitKind
    field: Literal["listing", "title", "accession_number", "origin", "notes", "description"]
    title: str
    excerpt: Pieces
    sha256: str | None = None
    accession: str | None = None
    program: int | None = None
    line: int | None = None
    lines_found: int | None = None


@dataclass(frozen=True, slots=True)
class SearchPage:
    """Part of what was found: records first, then listings, the newest first.

    `total` counts the records and listings found, as far as `COUNTED` of each; `total_is_exact`
    says whether that was far enough. `newest_only` says that the run was too short for the
    indexes, so that only the newest listings were read.
    """

    hits: tuple[Hit, ...]
    total: int
    total_is_exact: bool
    next_cursor: str | None
    newest_only: bool = False
