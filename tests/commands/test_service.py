"""`serve` and `migrate`, and what stops any command that needs the archive."""

from typing import Any

import pytest

from server.cli import main
from server.commands.console import DONE, REFUSED, UNUSABLE


def test_migrate_goes_up_and_only_when_told_so_down(tmp_path, monkeypatch, said):
    monkeypatch.setenv("FEEDHOLE_DATABASE_URL", f"sqlite:///{tmp_path}/new/archive.db")

    assert main(["tapes", "list"]) == UNUSABLE
    assert "python -m server migrate" in said().err
    assert main(["migrate"]) == DONE
    assert main(["tapes", "list"]) == DONE
    assert main(["migrate", "--down", "base"]) == REFUSED
    assert "Back it up first" in said().err
    assert main(["migrate", "--down", "nonsense", "--yes"]) == UNUSABLE
    assert "nonsense" in said().err
    assert main(["migrate", "--down", "base", "--yes"]) == DONE
    assert main(["tapes", "list"]) == UNUSABLE


def test_serve_listens_where_it_is_told_to(archive, monkeypatch):
    served: dict[str, Any] = {}
    monkeypatch.setattr("uvicorn.run", lambda app, **options: served.update(options, app=app))

    assert main(["serve", "--host", "0.0.0.0", "--port", "8123"]) == DONE
    assert (served["host"], served["port"]) == ("0.0.0.0", 8123)
    assert served["app"].state.settings.database_url == archive.database_url
    served["app"].state.engine.dispose()


@pytest.mark.parametrize("port", ["0", "65536", "http", "-1"])
def test_a_port_that_is_none_is_refused(port, said):
    with pytest.raises(SystemExit) as stopped:
        main(["serve", f"--port={port}"])

    assert stopped.value.code == UNUSABLE
    assert "is not a port" in said().err


@pytest.mark.parametrize("command", [["serve"], ["migrate"], ["demo"], ["tapes", "list"]])
def test_what_is_no_whole_checkout_is_said_to_be_none(command, monkeypatch, tmp_path, said):
    monkeypatch.setattr("server.checkout.TEMPLATES", tmp_path / "templates")
    monkeypatch.setattr("server.checkout.MIGRATIONS", tmp_path / "migrations")

    assert main(command) == UNUSABLE
    assert "migrations, templates should stand beside server" in said().err


def test_inspect_needs_no_checkout(monkeypatch, tmp_path, said):
    monkeypatch.setattr("server.checkout.TEMPLATES", tmp_path / "templates")
    (tmp_path / "tape.bin").write_bytes(b"10 END\r\n")

    assert main(["inspect", str(tmp_path / "tape.bin")]) == DONE


def test_a_setting_that_makes_no_sense_is_named(archive, monkeypatch, said):
    monkeypatch.setenv("FEEDHOLE_MAX_THREADS", "many")

    assert main(["tapes", "list"]) == UNUSABLE
    assert "FEEDHOLE_MAX_THREADS: give a whole number" in said().err


def test_a_file_that_is_no_database_is_refused(tmp_path, monkeypatch, said):
    path = tmp_path / "archive.db"
    path.write_bytes(b"not a database at all" * 100)
    monkeypatch.setenv("FEEDHOLE_DATABASE_URL", f"sqlite:///{path}")

    assert main(["tapes", "list"]) == UNUSABLE
    assert "FEEDHOLE_DATABASE_URL" in said().err
