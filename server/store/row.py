"""What every table shares: one metadata, names for constraints, and times that keep their zone."""

import zlib
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import DateTime, Dialect, LargeBinary, MetaData, String
from sqlalchemy.types import TypeDecorator
from sqlmodel import SQLModel

NAMES = {
    "pk": "pk_%(table_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
}


_QUICK = 1
"""The quickest level: stronger ones save little on text this short."""


BYTEWISE = String().with_variant(String(collation="C"), "postgresql")
"""Text in the order of its code points on every database, whatever the server's locale."""


class Row(SQLModel):
    """The base of every table. Table classes do not validate: check input before."""

    metadata = MetaData(naming_convention=NAMES)


class UtcDateTime(TypeDecorator[datetime]):
    """A moment, always with its zone and always in UTC, on databases that keep no zone too."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """The moment in UTC; a moment without a zone is refused, for nobody can tell it."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value!r} has no time zone")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """The moment as UTC."""
        del dialect
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Packed(TypeDecorator[bytes]):
    """Bytes kept compressed: what tapes carry repeats itself, and shrinks to about a third."""

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: bytes | None, dialect: Dialect) -> bytes | None:
        """The bytes, compressed."""
        del dialect
        return None if value is None else zlib.compress(value, _QUICK)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> bytes | None:
        """The bytes as they were given."""
        del dialect
        return None if value is None else zlib.decompress(value)
