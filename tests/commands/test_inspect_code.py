"""`inspect --code`: the machine code that a file loads."""

import json

import pytest

from server.cli import NOTATIONS, PROCESSORS, main
from server.commands.console import DONE, UNUSABLE
from server.tape import cpu
from server.tape.cpu.notation import Notation
from server.tape.formats import FORMATS
from server.tape.formats.raw_binary import RawCode
from server.tape.hexadecimal.program import HexProgram
from tests.tape.code_tapes import invented_code
from tests.tape.test_program_view import LISTED, PROGRAM


@pytest.fixture
def hexed(tmp_path):
    path = tmp_path / "hex.bin"
    content = HexProgram({0x100: PROGRAM}, entry_address=0x100)
    path.write_bytes(FORMATS["intel-hex"].build(content).frames)
    return str(path)


def test_the_words_that_the_command_takes_are_those_of_the_core():
    assert tuple(cpu.PROCESSORS) == PROCESSORS
    assert tuple(Notation) == NOTATIONS


def test_the_code_follows_the_listing(hexed, said):
    assert main(["inspect", hexed, "--code"]) == DONE
    told = said().out
    assert told.index("listing: ") < told.index("code: 8080, ")
    for line in LISTED.splitlines():
        assert line.split()[-1] in told
    assert "  processor     8080, " in told
    assert "  part          program intel-hex: " in told


def test_code_is_not_shown_unless_asked_for(hexed, said):
    main(["inspect", hexed])
    assert "code: 8080" not in said().out


def test_a_processor_or_a_notation_asks_for_code(hexed, said):
    main(["inspect", hexed, "--processor", "z80"])
    assert "LD HL,D011C" in said().out
    main(["inspect", hexed, "--notation", "split-octal"])
    assert "001 003  041 034 001" in said().out


def test_json_holds_the_code_with_its_references(hexed, said):
    main(["inspect", hexed, "--code", "--json"])
    code = json.loads(said().out)["machine_code"]
    assert (code["processor"], code["notation"]) == ("8080", "hex")
    lines = {line["address"]: line for line in code["lines"]}
    assert lines[0x10F]["target"] == 0x106
    assert lines[0x106]["referred_from"] == [0x10F]
    assert (lines[0x106]["label"], lines[0x106]["statement"]) == ("L0106", "MOV A,M")
    assert [line["number"] for line in code["lines"]] == list(range(1, len(lines) + 1))


def test_json_has_no_code_unless_asked_for(hexed, said):
    main(["inspect", hexed, "--json"])
    told = json.loads(said().out)
    assert "machine_code" not in told
    assert told["processor"]["name"] == "8080"
    assert [part["kind"] for part in told["parts"]] == ["leader", "program", "trailer"]
    assert told["parts"][1]["format"] == "intel-hex"


def test_a_tape_that_loads_nothing_has_none(reel, said):
    main(["inspect", reel, "--code"])
    assert "code: none" in said().out
    main(["inspect", reel, "--code", "--json"])
    told = json.loads(said().out)
    assert (told["machine_code"], told["processor"]) == (None, None)


def test_a_processor_with_other_cells_cannot_be_used(hexed, said):
    assert main(["inspect", hexed, "--processor", "12-bit"]) == UNUSABLE
    assert "cells of another size" in said().err


def test_where_bare_code_is_shown_is_said(tmp_path, said):
    path = tmp_path / "bare.bin"
    code = invented_code("6502", 600, 0x1000, 3)
    path.write_bytes(FORMATS["raw-binary"].build(RawCode(code)).frames)
    main(["inspect", str(path), "--code"])
    assert "shown as if loaded at 1000" in said().out
