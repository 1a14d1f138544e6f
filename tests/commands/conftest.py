"""An archive for the commands, a file to give them, and what they say."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

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


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Callable[[], Any]:
    """What was written since it was last asked; never a traceback."""

    def read() -> Any:
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return told

    return read
