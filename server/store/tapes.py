"""Physical tapes."""

import re
from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, String, event
from sqlmodel import Field

from server.store.row import Row, UtcDateTime

_DIGITS = 12
"""Numbers in accession numbers are shorter than this."""

BYTEWISE = String().with_variant(String(collation="C"), "postgresql")
"""Text in the order of its code points on every database, whatever the server's locale."""


def accession_key(number: str) -> str:
    """What sorts accession numbers as people count: 2026.9 before 2026.10."""
    return re.sub(r"[0-9]+", lambda digits: digits[0].zfill(_DIGITS), number.lower())


class Tape(Row, table=True):
    """One physical object. `accession_key` is filled in here, from the accession number.

    `made` is what is known of its date (ISO 8601-2); `levels` the code holes across, 5 to 8;
    while `hazard` is not "none" the tape is held apart.
    """

    __tablename__ = "tape"
    __table_args__ = (CheckConstraint("levels BETWEEN 5 AND 8", name="levels"),)

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


@event.listens_for(Tape, "before_insert")
@event.listens_for(Tape, "before_update")
def _fill_key(mapper: Any, connection: Any, tape: Tape) -> None:
    del mapper, connection
    tape.accession_key = accession_key(tape.accession_number)
