"""`inspect`: what a file holds, without any archive."""

import io
import json
import subprocess
import sys

import pytest

from server.cli import main
from server.commands.console import DONE, UNUSABLE
from server.inspection import facts_of
from server.tape.blocks.program import BlockProgram
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.bin12 import Bin12
from server.tape.identify import decode
from server.tape.twelve_bit.program import WordProgram
from tests.api.tapes_to_read import ORCHARD, hex_tape, text_tape
from tests.commands.reels import SHA, TAPE


def test_inspect_gives_the_facts_as_json(reel, said):
    assert main(["inspect", reel, "--json"]) == DONE
    told = json.loads(said().out)

    assert told.pop("file") == reel
    assert told == json.loads(facts_of(decode(TAPE)).model_dump_json())


def test_inspect_gives_one_line_of_json_for_each_file(reel, tmp_path, said):
    other = tmp_path / "hex.bin"
    other.write_bytes(hex_tape())
    main(["inspect", reel, str(other), "--json"])

    formats = [json.loads(line)["format"] for line in said().out.splitlines()]
    assert formats == ["text", "intel-hex"]


def test_inspect_tells_the_facts_then_the_findings_then_the_listing(reel, said):
    assert main(["inspect", reel]) == DONE
    told = said().out

    for fact in (SHA, "302 of 8 levels", "767.1 mm (30.2 in)", "parity even", "sound", "basic"):
        assert fact in told
    assert told.index("check status") < told.index("findings: none") < told.index("listing: 9")
    assert told.endswith("".join(f"{line}\n" for line in ORCHARD))


def test_inspect_exits_with_done_though_the_tape_is_damaged(tmp_path, said):
    damaged = bytearray(TAPE)
    damaged[60] ^= 0x80
    path = tmp_path / "damaged.bin"
    path.write_bytes(damaged)

    assert main(["inspect", str(path)]) == DONE
    told = said().out
    assert "damage: parity-error at frame 60, 152.4 mm (6.0 in)" in told


def test_inspect_reads_standard_input(monkeypatch, said):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(TAPE)))

    assert main(["inspect", "-", "--json"]) == DONE
    assert json.loads(said().out)["sha256"] == SHA


def test_inspect_goes_on_after_a_file_that_it_cannot_use(reel, tmp_path, said):
    empty = tmp_path / "empty.bin"
    empty.write_bytes(b"")

    assert main(["inspect", str(tmp_path / "none"), str(empty), str(tmp_path), reel]) == UNUSABLE
    told = said()
    assert SHA in told.out
    assert "No such file" in told.err
    assert "holds no frames" in told.err
    assert told.err.count("\n  ") == 3


def test_inspect_says_which_frame_has_a_hole_too_many(reel, said):
    assert main(["inspect", reel, "--levels", "5"]) == UNUSABLE
    assert "frame 40" in said().err


def test_inspect_does_not_read_without_end(monkeypatch, said):
    monkeypatch.setattr("server.commands.files.LARGEST", 1000)

    assert main(["inspect", "/dev/zero"]) == UNUSABLE
    assert "more than 1,000 bytes" in said().err


def test_a_tape_cannot_drive_the_terminal(tmp_path, said):
    path = tmp_path / "\x1b[31mreel.bin"
    path.write_bytes(text_tape(['10 PRINT "A"', "20 REM \x1b[2J\x07", *ORCHARD]))
    main(["inspect", str(path)])
    told = said().out

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


@pytest.mark.parametrize(
    ("image", "told"),
    [
        (
            Bin12().build(WordProgram({0o200: bytes.fromhex("0E80028307020022")})),
            ("octal, words of 12 bits", "0200 to 0203"),
        ),
        (
            AbsoluteBlock().build(BlockProgram({0o1000: bytes(32)}, entry_address=0o1000)),
            ("octal, 16 bits", "001000 to 001037"),
        ),
    ],
)
def test_addresses_are_written_as_the_people_of_the_machine_did(tmp_path, said, image, told):
    path = tmp_path / "octal.bin"
    path.write_bytes(image.frames)
    assert main(["inspect", str(path)]) == DONE
    shown = said().out

    assert all(part in shown for part in told)
