"""What people took upon themselves: each person's own list."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Index, text
from sqlmodel import Field

from server.store.row import Row, UtcDateTime

_ALONE = text("other_id IS NULL")
_ONE_OF_THREE = (
    "(CASE WHEN tape_id IS NULL THEN 0 ELSE 1 END) + (CASE WHEN image_id IS NULL THEN 0 ELSE 1 END)"
    " + (CASE WHEN request_id IS NULL THEN 0 ELSE 1 END) = 1"
)


class WorkItem(Row, table=True):
    """One thing that a person took on from a queue: a tape, an image, a pair, or a request.

    `queue` is the name of the queue; an entry counts for as long as that queue holds its object.
    """

    __tablename__ = "work_item"
    __table_args__ = (
        CheckConstraint(_ONE_OF_THREE, name="one_object"),
        CheckConstraint("other_id IS NULL OR image_id < other_id", name="order"),
        Index("uq_work_item_tape", "tape_id", "queue", "person_id", unique=True),
        Index("uq_work_item_request", "request_id", "queue", "person_id", unique=True),
        Index("uq_work_item_pair", "image_id", "other_id", "queue", "person_id", unique=True),
        Index(
            "uq_work_item_image",
            "image_id",
            "queue",
            "person_id",
            unique=True,
            sqlite_where=_ALONE,
            postgresql_where=_ALONE,
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    queue: str
    tape_id: int | None = Field(default=None, foreign_key="tape.id")
    image_id: int | None = Field(default=None, foreign_key="image.id")
    other_id: int | None = Field(default=None, foreign_key="image.id", index=True)
    request_id: int | None = Field(default=None, foreign_key="tape_request.id")
    put_on_at: datetime = Field(sa_type=UtcDateTime)
