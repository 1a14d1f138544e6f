"""Dialects that a club keeps as files: read, refused by name, and used for decoding."""

import os
import subprocess
import sys
import tomllib

import pytest

from server.app import create_app
from server.catalog.dialects import dialect_of, formats_of
from server.catalog.errors import Invalid
from server.cli import main
from server.settings import Settings
from server.tape.basic import DIALECTS
from server.tape.basic.dialect import Dialect
from server.tape.formats import FORMATS
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.identify import decode
from tests.tape.basic.corpus import program

FILE = """
name = "shore-basic"
title = "The shore club's BASIC"
source = "copied from the interpreter's own table, on a print-out of 1979"
confidence = ["80 to A6: high"]
may_be_bare = true
tokens = \"\"\"
    80 PRINT 81 INPUT  82 GOTO   83 GOSUB  84 IF     85 THEN   86 FOR  87 TO
    88 NEXT  89 STEP   8A DATA   8B READ   8C DIM    8D REM    8E LET  8F END
    90 STOP  91 RETURN 92 RESTORE 93 TAB(  94 +      95 -      96 *    97 /
    98 =     99 <      9A >      9B SGN    9C INT    9D ABS    9E SQR  9F RND
    A0 SIN   A1 BELL
\"\"\"
"""


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "dialects"
    made.mkdir()
    (made / "shore.toml").write_text(FILE)
    (made / "notes.txt").write_text("not a dialect")
    return made


def shore():
    return Dialect.from_table(tomllib.loads(FILE))


def shore_tape(seed=5):
    dialect = shore()
    return CrunchedBasic({dialect.name: dialect}).build(program(dialect, seed)).frames


def test_without_a_folder_the_formats_are_those_known_here():
    assert formats_of(None) is FORMATS
    assert dialect_of(FORMATS, "8k-8080") is DIALECTS["8k-8080"]
    assert dialect_of(FORMATS, "shore-basic") is None
    assert dialect_of(FORMATS, None) is None


def test_a_tape_in_a_dialect_of_the_folder_is_read_by_it(folder):
    formats = formats_of(folder)
    decoding = decode(shore_tape(), formats=formats).decoding
    assert decoding.dialect == "shore-basic"
    assert [line.text for line in decoding.listing] == [
        f"{number} {text}" for number, text in program(shore(), 5).lines
    ]
    known = dialect_of(formats, "shore-basic")
    assert known is not None
    assert known.title == "The shore club's BASIC"
    assert decode(shore_tape()).decoding.dialect != "shore-basic"


def test_tapes_in_the_dialects_known_here_are_still_read_by_theirs(folder):
    formats = formats_of(folder)
    for name, dialect in DIALECTS.items():
        image = CrunchedBasic().build(program(dialect, 7))
        assert decode(image.frames, formats=formats).decoding.dialect == name


def test_a_second_program_on_a_tape_is_read_in_a_dialect_of_the_folder_too(folder):
    first = CrunchedBasic().build(program(DIALECTS["8k-8080"], 7)).frames
    decoded = decode(first + bytes(90) + shore_tape(), formats=formats_of(folder))
    dialects = [part.decoding.dialect for part in decoded.parts if part.decoding]
    assert dialects == ["8k-8080", "shore-basic"]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("name = ", "Invalid value"),
        ('name = "x"', "the field title must be a text"),
        (FILE.replace("shore-basic", "8k-8080"), "there is a dialect 8k-8080 already"),
        (FILE, "there is a dialect shore-basic already"),
        (FILE.replace("80 PRINT", "7F PRINT"), "a token is a byte from 80 to FF"),
    ],
)
def test_a_file_that_is_no_dialect_is_refused_by_name(folder, text, fault):
    (folder / "zz-wrong.toml").write_text(text)
    with pytest.raises(Invalid, match=fault) as refused:
        formats_of(folder)
    assert refused.value.where.endswith("zz-wrong.toml")
    assert refused.value.mend


def test_a_file_that_is_no_text_is_refused(folder):
    (folder / "a.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(Invalid, match=r"a\.toml"):
        formats_of(folder)


def test_a_folder_of_that_suffix_or_none_at_all_is_refused(folder):
    (folder / "b.toml").mkdir()
    with pytest.raises(Invalid, match=r"b\.toml"):
        formats_of(folder)
    with pytest.raises(Invalid, match="nowhere") as refused:
        formats_of(folder / "nowhere")
    assert "FEEDHOLE_DIALECTS" in refused.value.mend


def test_the_application_does_not_start_with_a_dialect_that_is_none(folder, tmp_path):
    (folder / "wrong.toml").write_text("")
    with pytest.raises(Invalid, match=r"wrong\.toml"):
        create_app(Settings(database_url=f"sqlite:///{tmp_path}/x.db", dialects=folder))


def test_inspect_reads_a_tape_in_a_dialect_of_the_folder(folder, tmp_path):
    reel = tmp_path / "reel.bin"
    reel.write_bytes(shore_tape())
    told = subprocess.run(
        [sys.executable, "-m", "server", "inspect", str(reel)],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "FEEDHOLE_DIALECTS": str(folder)},
    )
    assert "crunched-basic shore-basic" in told.stdout


def test_inspect_says_which_file_is_no_dialect(folder, tmp_path, monkeypatch, capsys):
    (folder / "wrong.toml").write_text("")
    monkeypatch.setenv("FEEDHOLE_DIALECTS", str(folder))
    assert main(["inspect", str(tmp_path / "reel.bin")]) == 2
    assert "wrong.toml: the field name must be a text." in capsys.readouterr().err


def test_serve_says_which_file_is_no_dialect(folder, tmp_path, monkeypatch, capsys):
    (folder / "wrong.toml").write_text("")
    monkeypatch.setenv("FEEDHOLE_DIALECTS", str(folder))
    monkeypatch.setenv("FEEDHOLE_DATABASE_URL", f"sqlite:///{tmp_path}/x.db")
    assert main(["serve"]) == 1
    assert "wrong.toml" in capsys.readouterr().err
