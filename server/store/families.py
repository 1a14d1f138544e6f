"""What archivists decided about families."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Index
from sqlmodel import Field

from server.store.row import Row, UtcDateTime


class FamilyDecision(Row, table=True):
    """One decision on two images, named by their SHA-256: it outlives every decoding.

    The newest decision on a pair counts, whichever of the two it names first; only `made-from`
    has a direction: the image `sha256` was made from the image `other_sha256`.
    """

    __tablename__ = "family_decision"
    __table_args__ = (
        CheckConstraint("kind IN ('together', 'apart', 'made-from', 'undecided')", name="kind"),
        CheckConstraint("sha256 <> other_sha256", name="two_images"),
        Index(None, "sha256"),
        Index(None, "other_sha256"),
    )

    id: int | None = Field(default=None, primary_key=True)
    kind: str
    sha256: str = Field(foreign_key="image.sha256")
    other_sha256: str = Field(foreign_key="image.sha256")
    note: str = ""
    made_at: datetime = Field(sa_type=UtcDateTime)
    made_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
