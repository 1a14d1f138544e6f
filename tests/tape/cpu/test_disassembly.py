import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.cpu import PROCESSORS
from server.tape.cpu.base import Memory
from server.tape.cpu.disassembly import disassemble
from server.tape.cpu.notation import Notation

WORDS = st.dictionaries(st.integers(0, 0x10100), st.binary(min_size=1, max_size=60), max_size=4)


def shown(runs, processor="8080", entries=(), notation=Notation.HEX):
    memory = Memory(runs, PROCESSORS[processor].cell_bytes)
    found = disassemble(memory, PROCESSORS[processor], entries, notation)
    return [(each.address, each.label, each.text) for each in found.statements]


def test_code_is_followed_from_the_entry_and_the_rest_is_text_and_data():
    program = bytes.fromhex("21 0D 01 7E B7 CA 0C 01 23 C3 03 01 C9") + b"TIDE\x00\x80"

    assert shown({0x100: program}, entries=[0x100]) == [
        (0x100, None, "LXI H,D010D"),
        (0x103, "L0103", "MOV A,M"),
        (0x104, None, "ORA A"),
        (0x105, None, "JZ L010C"),
        (0x108, None, "INX H"),
        (0x109, None, "JMP L0103"),
        (0x10C, "L010C", "RET"),
        (0x10D, "D010D", '"TIDE"'),
        (0x111, None, "00 80"),
    ]


def test_a_loop_gets_a_label_and_its_references():
    memory = Memory({0x100: bytes.fromhex("3E 41 D3 01 C3 00 01")})

    found = disassemble(memory, PROCESSORS["8080"], [0x100])

    assert [each.text for each in found.statements] == ["MVI A,41", "OUT 01", "JMP L0100"]
    assert (dict(found.labels), dict(found.references)) == (
        {0x100: "L0100"},
        {0x100: (0x104,)},
    )


@pytest.mark.parametrize(
    ("notation", "text", "address"),
    [
        (Notation.HEX, "JMP 1FF0", "0100"),
        (Notation.OCTAL, "JMP 017760", "000400"),
        (Notation.SPLIT_OCTAL, "JMP 037 360", "001 000"),
    ],
)
def test_numbers_are_written_in_the_notation_asked_for(notation, text, address):
    assert shown({0x100: b"\xc3\xf0\x1f"}, notation=notation)[0][2] == text
    assert notation.address(0x100) == address


def test_a_restart_names_the_address_it_calls():
    memory = Memory({0x00: b"\xff", 0x38: b"\xc9"})

    found = disassemble(memory, PROCESSORS["8080"], [0])

    assert dict(found.references) == {0x38: (0,)}


def test_vectors_of_a_loaded_page_are_entered():
    memory = Memory({0xFFF0: bytes.fromhex("A9 01 60 00 00 00 00 00 00 00 00 00 F0 FF 00 00")})

    texts = [each.text for each in disassemble(memory, PROCESSORS["6502"]).statements]

    assert texts[:2] == ["LDA #01", "RTS"]


def test_words_of_twelve_bits_are_written_in_octal():
    words = (0o7200, 0o1203, 0o7402, 0o0042)
    runs = {0o200: b"".join(word.to_bytes(2, "big") for word in words)}

    assert [text for _, _, text in shown(runs, "12-bit", [0o200], Notation.OCTAL)] == [
        "CLA",
        "TAD L0203",
        "HLT",
        "AND 0042",
    ]


@pytest.mark.parametrize("processor", PROCESSORS)
@given(runs=WORDS, entry=st.integers(0, 0x10100))
def test_every_loaded_cell_stands_in_one_statement(processor, runs, entry):
    memory = Memory(runs, PROCESSORS[processor].cell_bytes)

    found = disassemble(memory, PROCESSORS[processor], [entry])

    covered = [
        address
        for each in found.statements
        for address in range(each.address, each.address + each.size)
    ]
    assert sorted(set(covered)) == [at for at, loaded in enumerate(memory.loaded) if loaded]
    assert set(found.labels) == set(found.references)
