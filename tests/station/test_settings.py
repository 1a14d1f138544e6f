"""The settings of a station: from the environment, told in the README, and silent on the token."""

from pathlib import Path

from server.checkout import ROOT
from server.station_settings import StationSettings


def test_the_readme_names_every_setting_of_the_station():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    names = [f"FEEDHOLE_{name.upper()}" for name in StationSettings.model_fields]

    assert [name for name in names if f"`{name}`" not in readme] == []


def test_settings_come_from_the_environment_and_the_token_is_not_shown(monkeypatch):
    monkeypatch.setenv("FEEDHOLE_ARCHIVE", "https://tapes.example")
    monkeypatch.setenv("FEEDHOLE_TOKEN", "a-secret-token")
    monkeypatch.setenv("FEEDHOLE_OUTBOX", "/srv/outbox")
    settings = StationSettings()

    assert settings.archive == "https://tapes.example"
    assert settings.outbox == Path("/srv/outbox")
    assert settings.token.get_secret_value() == "a-secret-token"
    assert "a-secret-token" not in f"{settings!r} {settings}"
