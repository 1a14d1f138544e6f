import pytest
from pydantic import ValidationError

from server.settings import Settings


def test_settings_come_from_the_environment(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("FEEDHOLE_DATABASE_URL", "sqlite:////srv/library.db")
    monkeypatch.setenv("FEEDHOLE_UPLOAD_LIMIT_BYTES", "500000")
    monkeypatch.setenv("FEEDHOLE_DEMO", "yes")

    settings = Settings()

    assert settings.database_url == "sqlite:////srv/library.db"
    assert settings.upload_limit_bytes == 500_000
    assert settings.demo


def test_postgresql_url_is_given_its_driver_and_keeps_its_password():
    settings = Settings(database_url="postgresql://keeper:s3cret@db/library")

    assert settings.database_url == "postgresql+psycopg://keeper:s3cret@db/library"


@pytest.mark.parametrize(
    ("url", "fault"),
    [
        ("library.db", "no database URL"),
        ("sqlite://", "names no file"),
        ("sqlite:///:memory:", "names no file"),
        ("mysql://db/library", "must begin with"),
    ],
)
def test_database_that_cannot_serve_is_refused(url: str, fault: str):
    with pytest.raises(ValidationError, match=fault):
        Settings(database_url=url)


@pytest.mark.parametrize(
    "name", ["upload_limit_bytes", "max_threads", "page_size", "sign_in_hours"]
)
def test_number_without_sense_is_refused_by_name(name: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv(f"FEEDHOLE_{name.upper()}", "0")

    with pytest.raises(ValidationError, match=name):
        Settings()


def test_a_replica_is_another_database():
    given = "postgresql://keeper@db/copy"
    assert Settings(replica=given).replica == "postgresql+psycopg://keeper@db/copy"
    assert Settings(replica="").replica == ""
    with pytest.raises(ValidationError, match="is the library itself"):
        Settings(database_url="sqlite:///var/one.db", replica="sqlite:///var/../var/one.db")
    with pytest.raises(ValidationError, match="is the library itself"):
        Settings(database_url=given, replica=given)
    with pytest.raises(ValidationError, match="must begin with"):
        Settings(replica="mysql://db/library")


def test_audits_can_be_left_out_but_not_be_begun_before_the_last_ended(
    monkeypatch: pytest.MonkeyPatch,
):
    monkeypatch.setenv("FEEDHOLE_AUDIT_DAYS", "0")
    assert Settings().audit_days == 0
    monkeypatch.setenv("FEEDHOLE_AUDIT_DAYS", "-1")
    with pytest.raises(ValidationError, match="audit_days"):
        Settings()
