"""Physical tapes."""

import re
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import CheckConstraint, Index, event, false, text
from sqlmodel import Field

from server.store.row import BYTEWISE, Row, UtcDateTime

_DIGITS = 12
"""Numbers in accession numbers are shorter than this."""


def accession_key(number: str) -> str:
    """What sorts accession numbers as people count: 2026.9 before 2026.10."""
    return re.sub(r"[0-9]+", lambda digits: digits[0].zfill(_DIGITS), number.lower())


def years(made: str | None) -> tuple[int, int] | None:
    """The first and the last year that a date of ISO 8601-2 may mean: 1970 and 1979 for 197X."""
    found = re.findall(r"(?:^|/)([0-9]{2}[0-9X]{2})", made or "")
    if not found:
        return None
    return int(found[0].replace("X", "0")), int(found[-1].replace("X", "9"))


_EMPTY: Final = {"server_default": text("''")}
_CLOSED: Final = text("access <> 'public'")
_GONE: Final = text("deaccessioned_on IS NOT NULL")


class Tape(Row, table=True):
    """One physical object. `accession_key` is filled in here, from the accession number.

    `made` is what is known of its date (ISO 8601-2), and `year_from` and `year_to`, filled in
    here too, are the first and last year that it may mean; `levels` the code holes across, 5 to
    8; while `hazard` is not "none" the tape is held apart. `access` says who may see it. On
    `deaccessioned_on` it left the collection; the rest of that is in `deaccession`.

    From `image_id` to `next_check`, the row repeats what the newest image read from the tape
    says, on which day its newest condition report was made, whether that says not to run it, and
    when it is to be looked at next, so that tapes are narrowed and counted without a look at
    images and reports. Triggers of the database keep it current; nothing else may write it.
    """

    __tablename__ = "tape"
    __table_args__ = (
        CheckConstraint("levels BETWEEN 5 AND 8", name="levels"),
        Index(None, "image_id", "program_id"),
        Index(None, "verified", "check_status"),
        Index("ix_tape_closed", "access", sqlite_where=_CLOSED, postgresql_where=_CLOSED),
        Index("ix_tape_gone", "deaccessioned_on", sqlite_where=_GONE, postgresql_where=_GONE),
    )

    id: int | None = Field(default=None, primary_key=True)
    accession_number: str = Field(unique=True)
    accession_key: str = Field(default="", sa_type=BYTEWISE, index=True)
    title: str = Field(index=True)
    program_id: int | None = Field(default=None, foreign_key="program.id", index=True)
    origin: str = ""
    medium: str = Field(default="", index=True)
    levels: int | None = None
    condition: str = Field(default="", index=True)
    place: str = Field(default="", index=True)
    loader_requirement: str = ""
    made: str | None = None
    notes: str = ""
    hazard: str = Field(default="none", index=True)
    created_at: datetime = Field(sa_type=UtcDateTime, index=True)
    created_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1
    year_from: int | None = None
    year_to: int | None = None
    image_id: int | None = None
    format: str | None = None
    language: str | None = None
    check_status: str | None = None
    loader: str | None = None
    verified: int = Field(default=0, sa_column_kwargs={"server_default": "0"})
    last_report: date | None = Field(default=None, index=True)
    reported_unfit: bool = Field(
        default=False, index=True, sa_column_kwargs={"server_default": false()}
    )
    next_check: date | None = Field(default=None, index=True)
    colour: str = Field(default="", sa_column_kwargs=_EMPTY)
    form: str = Field(default="", sa_column_kwargs=_EMPTY)
    core: str = Field(default="", sa_column_kwargs=_EMPTY)
    measured_width_mm: float | None = None
    measured_length_m: float | None = None
    inscriptions: str = Field(default="", sa_column_kwargs=_EMPTY)
    acquired_from: str = Field(default="", sa_column_kwargs=_EMPTY)
    acquired_on: str | None = None
    acquired_how: str = Field(default="", sa_column_kwargs=_EMPTY)
    acquisition_note: str = Field(default="", sa_column_kwargs=_EMPTY)
    rights_uri: str = Field(default="", sa_column_kwargs=_EMPTY)
    licence: str = Field(default="", sa_column_kwargs=_EMPTY)
    rights_note: str = Field(default="", sa_column_kwargs=_EMPTY)
    access: str = Field(default="public", sa_column_kwargs={"server_default": "public"})
    deaccessioned_on: date | None = None


@event.listens_for(Tape, "before_insert")
@event.listens_for(Tape, "before_update")
def _fill_key(mapper: Any, connection: Any, tape: Tape) -> None:
    del mapper, connection
    tape.accession_key = accession_key(tape.accession_number)
    tape.year_from, tape.year_to = years(tape.made) or (None, None)
