"""Load sheets: what a demonstrator takes to the machine, and every text that each has had."""

from datetime import datetime

from sqlalchemy import JSON, CheckConstraint
from sqlmodel import Field

from server.store.row import Row, UtcDateTime


class LoadSheet(Row, table=True):
    """The sheet of a version, or of an image for which there is no version yet.

    There is a row only once somebody has edited the sheet: revision 1 is the text that is made of
    the decoding, and is kept nowhere.
    """

    __tablename__ = "load_sheet"
    __table_args__ = (
        CheckConstraint("(version_id IS NULL) <> (image_id IS NULL)", name="of_one_thing"),
        CheckConstraint("revision > 0", name="revision"),
    )

    id: int | None = Field(default=None, primary_key=True)
    version_id: int | None = Field(default=None, foreign_key="version.id", unique=True)
    image_id: int | None = Field(default=None, foreign_key="image.id", unique=True)
    revision: int = 1
    updated_at: datetime = Field(sa_type=UtcDateTime)


class LoadSheetText(Row, table=True):
    """The sheet as it was from one revision on: written once, refused any change.

    `texts` holds, by the name of a field, what somebody wrote there; a field that is left out is
    made of the decoding.
    """

    __tablename__ = "load_sheet_text"

    sheet_id: int = Field(
        foreign_key="load_sheet.id", primary_key=True, sa_column_kwargs={"autoincrement": False}
    )
    revision: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    texts: dict[str, str] = Field(default_factory=dict, sa_type=JSON)
    note: str = ""
    made_at: datetime = Field(sa_type=UtcDateTime)
    made_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
