"""Why an image is trusted."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON
from sqlmodel import Field

from server.store.row import Row, UtcDateTime


class Verification(Row, table=True):
    """One judgement that an image is right, with its evidence: in words, and in data."""

    __tablename__ = "verification"

    id: int | None = Field(default=None, primary_key=True)
    image_id: int = Field(foreign_key="image.id", index=True)
    kind: str = Field(index=True)
    evidence: str
    facts: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    made_at: datetime = Field(sa_type=UtcDateTime, index=True)
    made_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
