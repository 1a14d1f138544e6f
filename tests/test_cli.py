"""The command line as it is used: what it prints, what it exits with, and never a traceback."""

import hashlib
import io
import json
import os
import subprocess
import sys
from pkgutil import resolve_name
from typing import Any

import pytest

from server.cli import main, parser
from server.commands.console import DONE, REFUSED, UNUSABLE
from server.inspection import facts_of
from server.tape.identify import decode
from tests.api.tapes_to_read import ORCHARD, hex_tape, text_tape

TAPE = text_tape(ORCHARD)
SHA = hashlib.sha256(TAPE).hexdigest()
PASSWORD = "a long enough pass phrase"


@pytest.fixture
def reel(tmp_path):
    path = tmp_path / "reel.bin"
    path.write_bytes(TAPE)
    return str(path)


@pytest.fixture
def archive(sqlite_settings, monkeypatch):
    monkeypatch.setenv("FEEDHOLE_DATABASE_URL", sqlite_settings.database_url)
    return sqlite_settings


def said(capsys):
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    return told


def commands():
    def leaves(found):
        for action in found._actions:
            if action.choices and hasattr(action.choices, "values"):
                for each in action.choices.values():
                    yield from leaves(each)
        if "run" in found._defaults:
            yield found

    return list(leaves(parser()))


@pytest.mark.parametrize("command", commands(), ids=lambda each: each.prog)
def test_every_command_has_something_to_run_and_says_what_it_is_for(command):
    assert callable(resolve_name(command._defaults["run"]))
    assert command.description


# inspect


def test_inspect_gives_the_facts_as_json(reel, capsys):
    assert main(["inspect", reel, "--json"]) == DONE
    told = json.loads(said(capsys).out)

    assert told.pop("file") == reel
    assert told == json.loads(facts_of(decode(TAPE)).model_dump_json())


def test_inspect_gives_one_line_of_json_for_each_file(reel, tmp_path, capsys):
    other = tmp_path / "hex.bin"
    other.write_bytes(hex_tape())
    main(["inspect", reel, str(other), "--json"])

    formats = [json.loads(line)["format"] for line in said(capsys).out.splitlines()]
    assert formats == ["text", "intel-hex"]


def test_inspect_tells_the_facts_then_the_findings_then_the_listing(reel, capsys):
    assert main(["inspect", reel]) == DONE
    told = said(capsys).out

    for fact in (SHA, "302 of 8 levels", "767.1 mm (30.2 in)", "parity even", "sound", "basic"):
        assert fact in told
    assert told.index("check status") < told.index("findings: none") < told.index("listing: 9")
    assert told.endswith("".join(f"{line}\n" for line in ORCHARD))


def test_inspect_exits_with_done_though_the_tape_is_damaged(tmp_path, capsys):
    damaged = bytearray(TAPE)
    damaged[60] ^= 0x80
    path = tmp_path / "damaged.bin"
    path.write_bytes(damaged)

    assert main(["inspect", str(path)]) == DONE
    told = said(capsys).out
    assert "damage: parity-error at frame 60, 152.4 mm (6.0 in)" in told


def test_inspect_reads_standard_input(monkeypatch, capsys):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(TAPE)))

    assert main(["inspect", "-", "--json"]) == DONE
    assert json.loads(said(capsys).out)["sha256"] == SHA


def test_inspect_goes_on_after_a_file_that_it_cannot_use(reel, tmp_path, capsys):
    empty = tmp_path / "empty.bin"
    empty.write_bytes(b"")

    assert main(["inspect", str(tmp_path / "none"), str(empty), str(tmp_path), reel]) == UNUSABLE
    told = said(capsys)
    assert SHA in told.out
    assert "No such file" in told.err
    assert "holds no frames" in told.err
    assert told.err.count("\n  ") == 3


def test_inspect_says_which_frame_has_a_hole_too_many(reel, capsys):
    assert main(["inspect", reel, "--levels", "5"]) == UNUSABLE
    assert "frame 40" in said(capsys).err


def test_inspect_does_not_read_without_end(monkeypatch, capsys):
    monkeypatch.setattr("server.commands.inspect.LARGEST", 1000)

    assert main(["inspect", "/dev/zero"]) == UNUSABLE
    assert "more than 1,000 bytes" in said(capsys).err


def test_a_tape_cannot_drive_the_terminal(tmp_path, capsys):
    path = tmp_path / "\x1b[31mreel.bin"
    path.write_bytes(text_tape(['10 PRINT "A"', "20 REM \x1b[2J\x07", *ORCHARD]))
    main(["inspect", str(path)])
    told = said(capsys).out

    assert "\x1b" not in told
    assert "\\x1B[31mreel.bin" in told


def test_inspect_runs_as_a_program_and_loads_no_database(reel):
    code = "import sys; from server.cli import main; main(['inspect', sys.argv[1]]);"
    code += "print(sorted({'sqlalchemy', 'fastapi', 'uvicorn'} & set(sys.modules)))"
    loaded = subprocess.run(
        [sys.executable, "-c", code, reel], capture_output=True, text=True, check=True
    )
    ran = subprocess.run(
        [sys.executable, "-m", "server", "inspect", reel, "--json"],
        capture_output=True,
        text=True,
        check=True,
    )

    assert loaded.stdout.splitlines()[-1] == "[]"
    assert json.loads(ran.stdout)["sha256"] == SHA


def test_whoever_reads_the_output_may_stop(reel):
    read, write = os.pipe()
    os.close(read)
    process = subprocess.run(
        [sys.executable, "-m", "server", "inspect", reel],
        stdout=write,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(write)

    assert (process.returncode, process.stderr) == (DONE, "")


# people


def with_input(monkeypatch, text):
    monkeypatch.setattr(sys, "stdin", io.StringIO(text))


def add_person(monkeypatch, name="ada", role="administrator", password=PASSWORD):
    with_input(monkeypatch, f"{password}\n")
    return main(["person", "add", name, "--role", role, "--password-stdin"])


def test_the_first_administrator_is_made_by_command(archive, monkeypatch, capsys):
    assert add_person(monkeypatch, "Ada") == DONE
    assert main(["person", "list", "--json"]) == DONE

    told = said(capsys).out.splitlines()
    assert told[0] == "ada can sign in now, as administrator."
    assert json.loads(told[1])["role"] == "administrator"


def test_a_password_is_asked_for_twice(archive, monkeypatch, capsys):
    answers = iter([PASSWORD, "another long pass phrase", PASSWORD, PASSWORD])
    monkeypatch.setattr("server.commands.people.getpass", lambda _: next(answers))
    asked = ["person", "add", "ada", "--role", "volunteer"]

    assert main(asked) == REFUSED
    assert "differ" in said(capsys).err
    assert main(asked) == DONE


def test_a_poor_password_and_a_taken_name_are_refused(archive, monkeypatch, capsys):
    assert add_person(monkeypatch, password="short") == REFUSED
    assert "15" in said(capsys).err
    assert add_person(monkeypatch) == DONE
    assert add_person(monkeypatch) == REFUSED
    assert "called ada already" in said(capsys).err


def test_a_token_acts_for_its_person(archive, monkeypatch, capsys):
    from server.catalog.people import actor_of_token
    from server.catalog.work import unit_of_work
    from server.store.engine import make_engine

    add_person(monkeypatch, role="archivist")
    said(capsys)
    assert main(["token", "ADA", "--label", "reader"]) == DONE
    token = said(capsys).out.strip()
    engine = make_engine(archive)
    with unit_of_work(engine) as work:
        actor = actor_of_token(work, token)
    engine.dispose()

    assert actor is not None
    assert (actor.name, actor.role) == ("ada", "archivist")
    assert main(["token", "nobody"]) == REFUSED


def test_people_are_listed_in_columns(archive, monkeypatch, capsys):
    add_person(monkeypatch)
    add_person(monkeypatch, "bartholomew", "volunteer")
    said(capsys)
    main(["person", "list"])
    lines = said(capsys).out.splitlines()

    assert len({line.index(role) for line, role in zip(
        lines, ("role", "administrator", "volunteer"), strict=True)}) == 1  # fmt: skip


# holdings


def test_an_upload_tells_what_became_of_it(archive, reel, capsys):
    assert main(["upload", reel]) == DONE
    assert f"taken in as {SHA}" in said(capsys).out
    assert main(["upload", reel]) == DONE
    assert f"held already as {SHA}" in said(capsys).out


def test_an_upload_as_json_is_the_receipt_of_the_api(archive, reel, capsys):
    main(["upload", reel, "--json"])
    told = json.loads(said(capsys).out)

    assert tuple(told)[:5] == ("sha256", "bytes", "duplicate_of", "decoding", "kin")
    assert told["decoding"]["readings"][0]["file_name"] == "reel.bin"


def test_an_upload_that_is_refused_names_its_file_and_stops_no_other(
    archive, reel, tmp_path, capsys
):
    empty = tmp_path / "empty.bin"
    empty.write_bytes(b"")

    assert main(["upload", str(empty), reel]) == REFUSED
    told = said(capsys)
    assert f"{empty}: The file is empty." in told.err
    assert SHA in told.out
    assert main(["upload", str(tmp_path / "none")]) == UNUSABLE
    assert "none: No such file" in said(capsys).err
    assert main(["upload", reel, "--tape", "1901.1"]) == REFUSED
    assert "1901.1" in said(capsys).err


def test_a_search_tells_the_line(archive, reel, capsys):
    main(["upload", reel])
    said(capsys)

    assert main(["search", "apples this"]) == DONE
    told = said(capsys).out
    assert f'{SHA}  reel.bin, listing, line 7: 70 PRINT "APPLES THIS YEAR:";A' in told
    assert told.endswith("1 found\n")
    assert main(["search", "apples this", "--json"]) == DONE
    assert json.loads(said(capsys).out)["line"] == 7


def test_a_search_goes_on_to_the_last_part(archive, capsys):
    from server.catalog import tapes
    from server.catalog.tape_values import NewTape
    from server.catalog.work import COMMAND, unit_of_work
    from server.store.engine import make_engine

    engine = make_engine(archive)
    with unit_of_work(engine, COMMAND) as work:
        for number in range(30):
            tapes.create(work, NewTape(title=f"Pump reel {number}"))
    engine.dispose()

    main(["search", "pump", "--json"])
    assert len(said(capsys).out.splitlines()) == 30
    main(["tapes", "list"])
    told = said(capsys).out
    assert "Pump reel 29" in told
    assert "page 1 of 1, 30 tapes" in told
    main(["tapes", "list", "--json"])
    assert json.loads(said(capsys).out.splitlines()[0])["title"] == "Pump reel 0"


def test_kin_are_told_in_words_and_as_json(archive, reel, tmp_path, capsys):
    longer = tmp_path / "longer.bin"
    longer.write_bytes(text_tape([*ORCHARD[:2], "25 PRINT", *ORCHARD[2:]]))
    main(["upload", reel])
    assert main(["kin", SHA]) == DONE
    assert "Nothing held resembles it." in said(capsys).out
    main(["upload", str(longer)])
    assert "one line added" in said(capsys).out
    main(["kin", SHA])
    assert "one line removed" in said(capsys).out
    main(["kin", SHA, "--json"])
    assert json.loads(said(capsys).out)["removed"] == 1


def test_an_image_that_nothing_vouches_for_is_only_written_when_asked_for_so(
    archive, reel, tmp_path, capsys
):
    out = tmp_path / "out.bin"
    main(["upload", reel])

    assert main(["download", SHA, str(out)]) == REFUSED
    assert "--unverified" in said(capsys).err
    assert not out.exists()
    assert main(["download", SHA, str(out), "--unverified"]) == DONE
    assert out.read_bytes() == TAPE


def test_a_download_never_writes_over_a_file(archive, reel, tmp_path, capsys):
    main(["upload", reel])

    assert main(["download", SHA, reel, "--unverified"]) == UNUSABLE
    assert "reel.bin: File exists" in said(capsys).err


def test_a_download_to_standard_output_is_the_frames_and_nothing_else(
    archive, tmp_path, capfdbinary
):
    data = hex_tape()
    path = tmp_path / "hex.bin"
    path.write_bytes(data)
    main(["upload", str(path)])
    sys.stdout.flush()
    capfdbinary.readouterr()

    assert main(["download", hashlib.sha256(data).hexdigest(), "-"]) == DONE
    assert capfdbinary.readouterr().out == data


@pytest.mark.parametrize(
    "args", [["kin", "0" * 64], ["download", "0" * 64, "-"], ["kin", "nothing"]]
)
def test_an_image_that_is_not_held_is_refused(archive, args, capsys):
    assert main(args) == REFUSED
    assert "held" in said(capsys).err


# service


def test_migrate_goes_up_and_only_when_told_so_down(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("FEEDHOLE_DATABASE_URL", f"sqlite:///{tmp_path}/new/archive.db")

    assert main(["tapes", "list"]) == UNUSABLE
    assert "python -m server migrate" in said(capsys).err
    assert main(["migrate"]) == DONE
    assert main(["tapes", "list"]) == DONE
    assert main(["migrate", "--down", "base"]) == REFUSED
    assert "Back it up first" in said(capsys).err
    assert main(["migrate", "--down", "nonsense", "--yes"]) == UNUSABLE
    assert "nonsense" in said(capsys).err
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
def test_a_port_that_is_none_is_refused(port, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["serve", f"--port={port}"])

    assert stopped.value.code == UNUSABLE
    assert "is not a port" in said(capsys).err


def test_a_setting_that_makes_no_sense_is_named(archive, monkeypatch, capsys):
    monkeypatch.setenv("FEEDHOLE_MAX_THREADS", "many")

    assert main(["tapes", "list"]) == UNUSABLE
    assert "FEEDHOLE_MAX_THREADS" in said(capsys).err


def test_a_file_that_is_no_database_is_refused(tmp_path, monkeypatch, capsys):
    path = tmp_path / "archive.db"
    path.write_bytes(b"not a database at all" * 100)
    monkeypatch.setenv("FEEDHOLE_DATABASE_URL", f"sqlite:///{path}")

    assert main(["tapes", "list"]) == UNUSABLE
    assert "FEEDHOLE_DATABASE_URL" in said(capsys).err


def test_a_command_that_is_stopped_says_so(archive, monkeypatch, capsys):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("server.catalog.tapes.page", stop)

    assert main(["tapes", "list"]) == 130
    assert said(capsys).err == "Stopped.\n"
