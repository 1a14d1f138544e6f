"""`audit`."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import make_url

from server.cli import main
from server.commands.console import DONE, REFUSED, UNUSABLE
from server.store.engine import make_engine
from tests.commands.reels import SHA
from tests.spoiling import spoil


def spoilt(archive):
    engine = make_engine(archive)
    spoil(engine, SHA)
    engine.dispose()


def backup(archive):
    """The address of a backup, made as the README says."""
    path = Path(make_url(archive.database_url).database or "")
    copy = path.with_name("copy.db")
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)
    return f"sqlite:///{copy}"


def test_an_audit_of_what_is_whole_says_so(archive, reel, said):
    assert main(["audit", "--last"]) == DONE
    assert "No fixity audit has come to its end yet." in said().out
    main(["upload", reel])
    said()

    assert main(["audit"]) == DONE
    told = said().out
    assert "images hashed\n" in told
    assert told.endswith("1 images hashed again, 0 failing, 0 of these mended.\n")
    assert main(["audit", "--last"]) == DONE
    assert "The last full audit ended 20" in said().out
    assert main(["audit", "--json"]) == DONE
    assert json.loads(said().out)["failing"] == 0


def test_an_image_that_fails_is_named_with_what_to_do(archive, reel, said):
    main(["upload", reel])
    spoilt(archive)
    said()

    assert main(["audit"]) == REFUSED
    told = said()
    assert "1 failing, 0 of these mended" in told.out
    assert f"{SHA}  reel.bin: the held frames are not those of its name since" in told.err
    assert "Upload the file of the same reading" in told.err
    assert main(["audit", "--last"]) == REFUSED
    assert SHA in said().err
    assert main(["audit", "--last", "--json"]) == REFUSED
    assert json.loads(said().out)["failing"][0]["failure"]["sha256"] == SHA


def test_it_is_not_written_to_a_file_and_not_prepared(archive, reel, tmp_path, said):
    main(["upload", reel])
    spoilt(archive)
    said()

    assert main(["download", SHA, str(tmp_path / "out"), "--unverified"]) == REFUSED
    assert "not those of its name since" in said().err
    assert not (tmp_path / "out").exists()
    assert main(["prepare", SHA, "-o", str(tmp_path / "out"), "--unverified"]) != DONE
    assert "not those of its name since" in said().err
    assert not (tmp_path / "out").exists()


def test_it_is_mended_from_the_replica_that_is_named(archive, reel, said, monkeypatch):
    main(["upload", reel])
    monkeypatch.setenv("FEEDHOLE_REPLICA", backup(archive))
    spoilt(archive)
    said()

    assert main(["audit"]) == DONE
    assert "1 failing, 1 of these mended" in said().out
    assert main(["audit"]) == DONE
    assert "0 failing" in said().out


def test_the_library_itself_is_no_replica(archive, said, monkeypatch):
    monkeypatch.setenv("FEEDHOLE_REPLICA", archive.database_url)
    assert main(["audit"]) == UNUSABLE
    assert "FEEDHOLE_REPLICA: is the library itself" in said().err.replace("Is the", "is the")
