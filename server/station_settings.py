"""The settings of a station, apart from the others: it has no archive of its own to set."""

from pathlib import Path

from pydantic import Field, SecretStr
from pydantic_settings import BaseSettings, SettingsConfigDict


class StationSettings(BaseSettings):
    """Where a station sends what it has read, and keeps what waits."""

    model_config = SettingsConfigDict(env_prefix="FEEDHOLE_", frozen=True)

    archive: str = ""
    """Address of the archive, such as https://tapes.example; nothing is sent where it is empty."""
    token: SecretStr = SecretStr("")
    """What the station signs in with; see the command `token`."""
    token_file: Path | None = Field(default=None)
    """A file whose first line is the token; it is read where no token is set."""
    outbox: Path = Path("var/outbox")
    """The folder of readings that wait to be sent."""
