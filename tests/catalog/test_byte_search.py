"""Bytes with gaps, in frames and in loaded memory; the same questions to both databases."""

import random
import re

import pytest
from sqlalchemy import Engine

from server.catalog import by_example, byte_search, images
from server.catalog.byte_pattern import LONGEST, Base, read
from server.catalog.byte_values import BytePage, ByteQuery
from server.catalog.errors import Invalid
from server.catalog.work import Role, Work
from server.store import loaded
from server.tape.blocks.program import BlockProgram
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.machine_notation import OCTAL, OCTAL_WORDS
from tests.catalog.test_byte_by_byte import bin12
from tests.factories import acting, hex_tape, text_tape, upload
from tests.store.rows import add_image

MACHINE = bytes.fromhex("3E41D301C30001215555CD0501C9") + b"LOAD" + bytes(range(40))


def matches(text: str, data: bytes, base: Base = Base.AUTO) -> list[int]:
    return [match.start() for match in re.finditer(read(text, base).regex, data)]


@pytest.mark.parametrize(
    ("text", "data", "places"),
    [
        ("C3 ?? 01", b"\xc3\x00\x01\xc3\xff\x01", [0, 3]),
        ("c3??01", b"\xc3\x0a\x01", [0]),
        ("303 ??? 001", b"\xc3\x0a\x01", [0]),
        ("3? ?1", b"\x3f\xf1\x4f\xf1", [0]),
        ("3?? 00?", b"\xff\x07\x3f\x07\xc0\x00", [0, 4]),
        ('"LOAD" 0D', b"L\xcfA\xc4\r", [0]),
        ("'it''s'", b"its", [0]),
        ("0A, 0D", b"\n\r", [0]),
        ("2E 2A", b".*", [0]),
    ],
)
def test_written_bytes_match_what_they_say(text: str, data: bytes, places: list[int]):
    assert matches(text, data) == places


def test_the_base_may_be_chosen():
    assert matches("303001", b"\x30\x30\x01") == [0]
    assert matches("303001", b"\xc3\x01", Base.OCTAL) == [0]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("C3 0", 4),
        ("C3 ZZ", 4),
        ('C3 "LOAD', 4),
        ("?? ??", 1),
        ("00 " * (LONGEST + 1), 1),
        ('"LÖAD"', 3),
        ("303 777", 5),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_place(text: str, place: int):
    with pytest.raises(Invalid) as refusal:
        read(text)

    assert refusal.value.where == f"character {place}"
    assert refusal.value.mend


def ask(work: Work, text: str, **others: object) -> BytePage:
    return byte_search.find(work, ByteQuery.of({"bytes": text} | others))


def test_frames_hold_text_whatever_its_parity(engine: Engine):
    with acting(engine) as work:
        sha256 = upload(work, text_tape()).image.sha256

        (hit,) = ask(work, '"TIDE TABLE"').hits
        place = hit.places[0]

    assert hit.sha256 == sha256
    assert bytes(each & 0x7F for each in place.found) == b"TIDE TABLE"
    assert bytes(each & 0x7F for each in place.before)[-3:] == b"** "
    assert place.line == 1
    assert text_tape()[place.at : place.at + 10] == place.found


def test_memory_is_found_by_address_with_its_line(engine: Engine):
    with acting(engine) as work:
        upload(work, hex_tape(0x100, MACHINE))

        (hit,) = ask(work, "C3 ?? 01", where="memory").hits
        octal = ask(work, "303 ??? 001", where="memory").hits
        (loaded,) = ask(work, '"LOAD"', where="memory").hits

    assert [place.at for place in hit.places] == [0x104]
    assert hit.places[0].line == 1
    assert octal == (hit,)
    assert loaded.places[0].at == 0x100 + MACHINE.index(b"LOAD")


WORDS = [0o7300, 0o1234, *range(0o100, 0o130), 0o4321, 0o5776]


def test_memory_of_words_is_found_by_the_address_and_the_line_of_its_word(engine: Engine):
    with acting(engine) as work:
        sha256 = upload(work, bin12(0o300, WORDS)).image.sha256

        hit, inside = (ask(work, text, where="memory").hits[0] for text in ("08 D1 0B FE", "D1 0B"))
        lines = images.listing(work, sha256).lines
        example = by_example.of_example(work, by_example.Example(bytes="08 D1 0B FE")).memory

    (place,) = hit.places
    assert hit.writing == OCTAL_WORDS
    assert place.at == 0o300 + WORDS.index(0o4321) == 0o332
    assert place.line is not None
    assert lines[place.line - 1].text.startswith("0330 ")
    assert hit.writing.cells(place.before) == "0124 0125 0126 0127"
    assert hit.writing.cells(place.found) == "4321 5776"
    assert inside.places == hit.places
    assert example.hits == (hit,)


def test_bytes_are_written_as_the_people_of_the_machine_wrote_them(sqlite_engine: Engine):
    octal = AbsoluteBlock().build(BlockProgram({0o1000: MACHINE})).frames
    with acting(sqlite_engine) as work:
        upload(work, octal)

        (loaded,) = ask(work, "3E 41 D3", where="memory").hits
        (punched,) = ask(work, "076 101 323").hits

    assert loaded.writing == punched.writing == OCTAL
    assert loaded.writing.address(loaded.places[0].at) == "001000"
    assert punched.writing.cells(punched.places[0].found) == "076 101 323"


def test_overlapping_places_are_all_counted(engine: Engine):
    with acting(engine) as work:
        add_image(work.session, "AAAAA")

        (hit,) = ask(work, '"AAA"').hits

    assert hit.count == 3


def test_what_stands_nowhere_is_not_found(engine: Engine):
    with acting(engine) as work:
        upload(work, hex_tape())

        assert ask(work, "DE AD BE EF").hits == ()
        assert ask(work, "DE AD", where="memory").hits == ()
        assert ask(work, "").hits == ()


@pytest.fixture
def library(engine: Engine) -> tuple[Engine, list[str]]:
    """A dozen listings of random letters, oldest first."""
    chance = random.Random(4)
    texts = ["".join(chance.choices("ABCD", k=200)) for _ in range(12)]
    with acting(engine, Role.VOLUNTEER) as work:
        for text in texts:
            add_image(work.session, text)
    return engine, texts


@pytest.mark.parametrize("pattern", ["ABCDA", "AB", "A?C", "ABC?BCD", "DDDDDD", "ABAB?ABAB"])
def test_pages_together_are_what_plain_reading_finds(library: tuple[Engine, list[str]], pattern):
    engine, texts = library
    written = " ".join("??" if each == "?" else f"{ord(each):02X}" for each in pattern)
    shape = re.compile(f"(?={pattern.replace('?', '.')})")
    truth = [len(shape.findall(text)) for text in reversed(texts) if shape.search(text)]
    found, cursor = [], None
    with acting(engine) as work:
        while True:
            page = ask(work, written, limit=3, **({"cursor": cursor} if cursor else {}))
            found += [hit.count for hit in page.hits]
            cursor = page.next_cursor
            if cursor is None:
                break

    assert found == truth


def test_a_long_look_is_told_part_by_part(engine: Engine, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(byte_search, "READ_AT_ONCE", 10)
    with acting(engine) as work:
        for number in range(3):
            add_image(work.session, f"NUMBER {number}")

        first = ask(work, '"0"')
        rest = ask(work, '"0"', cursor=first.next_cursor)

    assert (first.hits, first.read) == ((), 2)
    assert [hit.count for hit in rest.hits] == [1]
    assert rest.next_cursor is None


def test_memory_of_a_decoding_that_was_superseded_is_not_found(engine: Engine):
    with acting(engine) as work:
        receipt = upload(work, hex_tape(0x100, MACHINE))
        loaded.index_memory(work.session, 1, {0x200: b"\x01\x02\x03\x04"})

        assert receipt.image.sha256
        assert ask(work, "3E 41 D3", where="memory").hits == ()
        assert len(ask(work, "01 02 03", where="memory").hits) == 1
