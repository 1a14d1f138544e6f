"""How images relate, and the fingerprints by which kin are found."""

from typing import Any, ClassVar

from sqlalchemy import BigInteger, CheckConstraint, false
from sqlmodel import Field

from server.store.row import Row


class Kinship(Row, table=True):
    """How two images relate; one row a pair, the image held first as `a`.

    `added`, `removed` and `changed` count lines of `b` against `a`: added are in `b` only.
    `unit` says when they count addresses or frames instead. `renumbered` says that `b` was seen
    under the line numbers of `a`, `moved_by` how many addresses higher `b` stands.
    """

    __tablename__ = "kinship"
    __table_args__ = (CheckConstraint("image_a_id < image_b_id", name="order"),)

    image_a_id: int = Field(foreign_key="image.id", primary_key=True)
    image_b_id: int = Field(foreign_key="image.id", primary_key=True, index=True)
    kind: str
    similarity: float
    distance: int
    added: int
    removed: int
    changed: int
    unit: str = "line"
    renumbered: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    moved_by: int = Field(default=0, sa_type=BigInteger, sa_column_kwargs={"server_default": "0"})


class Fingerprint(Row, table=True):
    """One of the few numbers that stand for an image's content; kin share many of them."""

    __tablename__ = "fingerprint"
    __table_args__: ClassVar[dict[str, Any]] = {"sqlite_with_rowid": False}

    hash: int = Field(
        sa_type=BigInteger, primary_key=True, sa_column_kwargs={"autoincrement": False}
    )
    image_id: int = Field(foreign_key="image.id", primary_key=True, index=True)
