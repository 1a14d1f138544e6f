"""An archive for the commands, a file to give them, and what they say."""

from pathlib import Path

import pytest

from server.settings import Settings
from tests.commands.reels import TAPE


@pytest.fixture
def reel(tmp_path: Path) -> str:
    path = tmp_path / "reel.bin"
    path.write_bytes(TAPE)
    return str(path)


@pytest.fixture
def archive(sqlite_settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Settings:
    monkeypatch.setenv("FEEDHOLE_DATABASE_URL", sqlite_settings.database_url)
    return sqlite_settings
