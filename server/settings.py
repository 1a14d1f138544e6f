"""Every setting in one place, read from the environment: FEEDHOLE_DATABASE_URL and so on."""

import re
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field, ValidationInfo, field_validator
from sqlalchemy import make_url
from sqlalchemy.exc import ArgumentError

from server.decoding_settings import DecodingSettings


def _database(url: str) -> str:
    """The URL with its driver; refused unless it names an SQLite file or a PostgreSQL database."""
    try:
        parsed = make_url(url)
    except ArgumentError:
        raise ValueError("is no database URL; try sqlite:///var/feedhole.db") from None
    if parsed.get_backend_name() == "sqlite":
        if parsed.database in (None, "", ":memory:"):
            raise ValueError("names no file; try sqlite:///var/feedhole.db")
        return url
    if parsed.get_backend_name() != "postgresql":
        raise ValueError("must begin with sqlite:/// or postgresql://")
    return parsed.set(drivername="postgresql+psycopg").render_as_string(hide_password=False)


def _is_same_database(one: str, other: str) -> bool:
    first, second = make_url(one), make_url(other)
    if {first.get_backend_name(), second.get_backend_name()} == {"sqlite"}:
        return Path(first.database or "").resolve() == Path(second.database or "").resolve()
    return first == second


def _address(url: str) -> str:
    """The address without a slash at its end; refused unless it is one of the web's."""
    if url and not re.fullmatch(r"https?://[^\s/?#]+(/[^\s?#]*)?", url):
        raise ValueError("is no address; try https://archive.example")
    return url.rstrip("/")


class Settings(DecodingSettings):
    """What a site may choose; a value that makes no sense stops the start, with its name."""

    database_url: Annotated[str, AfterValidator(_database)] = "sqlite:///var/feedhole.db"
    """An SQLite file for one machine; postgresql://… for several workers or a larger site."""
    public_address: Annotated[str, AfterValidator(_address)] = ""
    """Where people reach this site, for addresses that are printed; as it was asked if empty."""
    upload_limit_bytes: int = Field(default=10_000_000, gt=0)
    """The largest image taken: 25 km of tape, far beyond any roll, so what is larger is no tape."""
    photo_limit_bytes: int = Field(default=20_000_000, gt=0)
    """The largest photo taken, in bytes, before it is written anew and made smaller."""
    demo: bool = False
    """Whether this is the demonstration: its people and their passwords are shown on the page."""

    secure_cookies: bool = True
    """Whether browsers may send the sign-in over HTTPS only; false just for a plain-HTTP trial."""
    sign_in_idle_hours: float = Field(default=12, gt=0)
    """How long a sign-in lasts without being used."""
    sign_in_hours: float = Field(default=7 * 24, gt=0)
    """How long a sign-in lasts at most."""

    max_threads: int = Field(default=4, ge=1)
    """How many requests one worker answers at once; more only quarrel over the processor."""
    page_size: int = Field(default=50, ge=1, le=200)
    """Rows on a page of a list."""

    report_years: int = Field(default=5, ge=1, le=100)
    """After how many years without a condition report a tape is to be looked at again."""

    loan_reminder_days: int = Field(default=14, ge=0, le=366)
    """So many days before a tape is due that was lent, the first page begins to say so."""

    background_work: bool = True
    """Whether this process takes up background work; one of several workers is enough."""
    audit_days: float = Field(default=7, ge=0)
    """A fixity audit begins by itself when the last one ended so long ago; never if 0."""
    replica: str = ""
    """A second database of the same kind, such as the newest backup, to mend images from."""

    database_wait_seconds: float = Field(default=10, gt=0)
    """How long to wait for a connection or a lock before the caller is told to try again."""
    statement_limit_seconds: float = Field(default=30, gt=0)
    """How long one statement may run on PostgreSQL."""

    @field_validator("replica")
    @classmethod
    def _another_database(cls, url: str, given: ValidationInfo) -> str:
        """The replica's URL with its driver; refused where it is the library itself."""
        if not url:
            return ""
        checked = _database(url)
        if "database_url" in given.data and _is_same_database(checked, given.data["database_url"]):
            raise ValueError("is the library itself; name another database, such as a backup")
        return checked
