"""`merge`: several files become one, without any archive."""

import io
import json
import sys

import pytest

from server.cli import main
from server.commands.console import DONE, REFUSED, UNUSABLE
from tests.readings import HEX, PUNCHED, flipped, three, tied


@pytest.fixture
def files(tmp_path):
    """Writes files, and gives their names."""

    def write(*readings: bytes) -> list[str]:
        names = [str(tmp_path / f"pass-{number}.bin") for number in range(len(readings))]
        for name, data in zip(names, readings, strict=True):
            with open(name, "wb") as file:  # noqa: PTH123 - names are what the command takes
                file.write(data)
        return names

    return write


def test_readings_whose_disputes_checksums_settle_come_to_the_tape(files, tmp_path, said):
    out = tmp_path / "merged.bin"

    assert main(["merge", *files(*three(HEX)), "-o", str(out)]) == DONE
    told = said().out
    assert out.read_bytes() == HEX
    for fact in ("3 readings merged", "readings agree", "reversed", "intel-hex", "by checksum"):
        assert fact in told


def test_readings_that_do_not_agree_end_with_another_status(files, tmp_path, said):
    out = tmp_path / "merged.bin"

    assert main(["merge", *files(*three(PUNCHED)), "--output", str(out)]) == REFUSED
    assert out.read_bytes() == PUNCHED
    assert "not by the rule" in said().out


def test_a_frame_that_nothing_settles_is_told_with_its_votes_and_place(files, said):
    main(["merge", *files(*tied(PUNCHED))])
    lines = said().out.splitlines()
    at = next(number for number, line in enumerate(lines) if "frame 300" in line)

    assert "762.00 mm" in lines[at]
    assert "likeliest, open" in lines[at]
    for value in (PUNCHED[300], PUNCHED[300] ^ 3):
        assert f"{value:02X} at 300" in lines[at + 1]


def test_equal_passes_dispute_nothing(files, said):
    assert main(["merge", *files(PUNCHED, PUNCHED[9:])]) == DONE
    assert "disputed frames: none" in said().out


def test_json_has_every_source_and_dispute(files, said):
    names = files(*three(HEX))
    assert main(["merge", *names, "--json"]) == DONE
    told = json.loads(said().out)

    assert [each["file"] for each in told["sources"]] == names
    assert (told["agreement"], told["frames"], told["levels"]) == ("checksum", len(HEX), 8)
    assert {each["settled_by"] for each in told["disputes"]} == {"checksum"}
    assert all(len(each["votes"]) == 3 for each in told["disputes"])


def test_of_very_many_disputes_some_are_named_and_the_rest_counted(files, said):
    places = range(70, 1000, 12)
    main(["merge", *files(PUNCHED, flipped(PUNCHED, *places), PUNCHED[9:])])
    told = said().out

    assert f"disputed frames: {len(places)}" in told
    assert f"and {len(places) - 40} more that are settled" in told


def test_the_image_may_go_to_standard_output_and_the_report_does_not(files, monkeypatch, capsys):
    class Binary(io.StringIO):
        buffer = io.BytesIO()

    monkeypatch.setattr(sys, "stdout", Binary())
    names = files(*three(HEX))

    assert main(["merge", *names, "-o", "-"]) == DONE
    assert Binary.buffer.getvalue() == HEX
    assert "3 readings merged" in capsys.readouterr().err


def test_nothing_that_is_there_is_overwritten(files, said):
    names = files(*three(HEX))

    assert main(["merge", *names, "-o", names[0]]) == UNUSABLE
    assert "not there yet" in said().err


@pytest.mark.parametrize(
    ("readings", "told"),
    [
        ((PUNCHED,), "cannot be merged"),
        ((PUNCHED, PUNCHED), "count as one pass"),
        ((PUNCHED, HEX), "cannot be merged"),
        ((PUNCHED, b""), "no frames"),
    ],
)
def test_what_cannot_be_merged_is_told_with_what_to_do(files, said, readings, told):
    assert main(["merge", *files(*readings)]) == UNUSABLE
    complaint = said().err
    assert told in complaint
    assert len(complaint.splitlines()) == 2


def test_a_file_that_is_not_there_and_a_dialect_that_cannot_be_read_are_told(
    files, said, monkeypatch, tmp_path
):
    assert main(["merge", *files(PUNCHED), str(tmp_path / "none.bin")]) == UNUSABLE
    assert "none.bin" in said().err
    (tmp_path / "wrong.toml").write_text("name = 1", encoding="utf-8")
    monkeypatch.setenv("FEEDHOLE_DIALECTS", str(tmp_path))
    assert main(["merge", *files(*three(PUNCHED))]) == UNUSABLE
