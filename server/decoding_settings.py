"""The settings that decoding needs, apart from the others: `inspect` has no database to set."""

from pathlib import Path

from pydantic import Field
from pydantic_settings import BaseSettings, SettingsConfigDict


class DecodingSettings(BaseSettings):
    """What a site may choose about how images are decoded."""

    model_config = SettingsConfigDict(env_prefix="FEEDHOLE_", frozen=True)

    dialects: Path | None = Field(default=None)
    """A folder of dialects of crunched BASIC besides those that are known here, a file each."""
