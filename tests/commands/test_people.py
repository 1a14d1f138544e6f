"""`person` and `token`: who may change the archive."""

import io
import json
import sys

from server.cli import main
from server.commands.console import DONE, REFUSED

PASSWORD = "a long enough pass phrase"


def with_input(monkeypatch, text):
    monkeypatch.setattr(sys, "stdin", io.StringIO(text))


def add_person(monkeypatch, name="ada", role="administrator", password=PASSWORD):
    with_input(monkeypatch, f"{password}\n")
    return main(["person", "add", name, "--role", role, "--password-stdin"])


def test_the_first_administrator_is_made_by_command(archive, monkeypatch, said):
    assert add_person(monkeypatch, "Ada") == DONE
    assert main(["person", "list", "--json"]) == DONE

    told = said().out.splitlines()
    assert told[0] == "ada can sign in now, as administrator."
    assert json.loads(told[1])["role"] == "administrator"


def test_a_password_is_asked_for_twice(archive, monkeypatch, said):
    answers = iter([PASSWORD, "another long pass phrase", PASSWORD, PASSWORD])
    monkeypatch.setattr("server.commands.people.getpass", lambda _: next(answers))
    asked = ["person", "add", "ada", "--role", "volunteer"]

    assert main(asked) == REFUSED
    assert "differ" in said().err
    assert main(asked) == DONE


def test_a_poor_password_and_a_taken_name_are_refused(archive, monkeypatch, said):
    assert add_person(monkeypatch, password="short") == REFUSED
    assert "15" in said().err
    assert add_person(monkeypatch) == DONE
    assert add_person(monkeypatch) == REFUSED
    assert "called ada already" in said().err


def test_a_token_acts_for_its_person(archive, monkeypatch, said):
    from server.catalog import tokens
    from server.catalog.work import unit_of_work
    from server.store.engine import make_engine

    add_person(monkeypatch, role="archivist")
    said()
    assert main(["token", "ADA", "--label", "reader"]) == DONE
    token = said().out.strip()
    engine = make_engine(archive)
    with unit_of_work(engine) as work:
        bearer = tokens.bearer(work, token)
    engine.dispose()

    assert bearer is not None
    assert (bearer.actor.name, bearer.actor.role) == ("ada", "archivist")
    assert main(["token", "nobody"]) == REFUSED


def test_people_are_listed_in_columns(archive, monkeypatch, said):
    add_person(monkeypatch)
    add_person(monkeypatch, "bartholomew", "volunteer")
    said()
    main(["person", "list"])
    lines = said().out.splitlines()

    assert len({line.index(role) for line, role in zip(
        lines, ("role", "administrator", "volunteer"), strict=True)}) == 1  # fmt: skip
