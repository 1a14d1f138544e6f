"""Controlled vocabularies: the words that records may use, each one row."""

from datetime import datetime

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.store.row import Row, UtcDateTime


class Term(Row, table=True):
    """One word of a vocabulary; records hold the word itself, so that they read without this.

    `folded` is the word without regard to capitals. A word that was merged into another keeps
    its row, so that whoever still writes it is led to the other; so does a retired one.
    """

    __tablename__ = "term"
    __table_args__ = (UniqueConstraint("vocabulary", "folded"),)

    id: int | None = Field(default=None, primary_key=True)
    vocabulary: str
    word: str
    folded: str
    meaning: str = ""
    retired_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    merged_into_id: int | None = Field(default=None, foreign_key="term.id", index=True)
    created_at: datetime = Field(sa_type=UtcDateTime)
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1
