from collections.abc import Sequence
from random import Random

import pytest
from sqlalchemy import Engine

from server.catalog import byte_by_byte, images
from server.catalog.byte_by_byte import FrameComparison, MemoryComparison
from server.catalog.work import Work
from server.tape.bytes_diff import BytesChange, ChangeKind
from server.tape.formats.bin12 import Bin12
from server.tape.image import Image, Orientation
from server.tape.machine_notation import HEXADECIMAL, OCTAL_WORDS
from server.tape.twelve_bit.program import WordProgram
from tests import factories
from tests.catalog.test_kinship import s_record

DATA = Random(3).randbytes(400)


def bin12(start: int, words: Sequence[int]) -> bytes:
    data = b"".join(word.to_bytes(2, "big") for word in words)
    return Bin12().build(WordProgram({start: data})).frames


def frames_of(work: Work, *readings: bytes) -> FrameComparison | None:
    tape = factories.tape(work).accession_number
    names = [factories.upload(work, each, tape=tape).image.sha256 for each in readings]
    return byte_by_byte.frames(work, images.comparison(work, *names))


def memory_of(work: Work, a: bytes, b: bytes) -> MemoryComparison | None:
    left, right = (factories.upload(work, each).image.sha256 for each in (a, b))
    return byte_by_byte.memory(work, images.comparison(work, left, right))


def test_two_readings_are_compared_frame_by_frame_where_each_was_read(engine: Engine):
    tape = factories.text_tape(leader=60)
    at = tape.index(b"30"[:1], 60)
    dropped = bytes(17) + tape[:at] + tape[at + 1 :]
    with factories.acting(engine) as work:
        found = frames_of(work, tape, dropped)
    assert found == FrameComparison(
        (BytesChange(ChangeKind.REMOVED, at, at + 17, tape[at : at + 1], b""),)
    )
    assert found.tally == {ChangeKind.REMOVED: 1}


def test_a_reading_from_its_end_is_compared_as_it_was_punched(sqlite_engine: Engine):
    tape = factories.text_tape()
    misread = factories.damaged(tape, 100)
    turned = Image(misread, 8).turned(Orientation.REVERSED).frames
    with factories.acting(sqlite_engine) as work:
        found = frames_of(work, tape, turned)
    assert found is not None
    assert found.changes is not None
    (change,) = found.changes
    assert (change.kind, change.left_at) == (ChangeKind.CHANGED, 100)
    assert change.right_at == len(tape) - 1 - 100
    assert (change.left, change.right) == (tape[100:101], misread[100:101])


def test_readings_of_different_tapes_are_not_compared_frame_by_frame(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        one = factories.upload(work, factories.text_tape()).image.sha256
        other = factories.upload(work, factories.text_tape(leader=99)).image.sha256
        for names in ((one, other), (one, one)):
            assert byte_by_byte.frames(work, images.comparison(work, *names)) is None


def test_what_nobody_recognised_is_compared_by_its_frames(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        one = factories.upload(work, DATA).image
        other = factories.upload(work, DATA[:200] + DATA[201:]).image
        assert one.format == other.format == "unrecognised"
        found = byte_by_byte.frames(work, images.comparison(work, one.sha256, other.sha256))
    assert found is not None
    assert [each.kind for each in found.changes or ()] == [ChangeKind.REMOVED]


def test_readings_too_far_apart_are_said_to_be_so(
    sqlite_engine: Engine, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(byte_by_byte, "MOST_CHANGES", 3)
    with factories.acting(sqlite_engine) as work:
        found = frames_of(work, factories.text_tape(), factories.text_tape("10 END", "20 STOP"))
    assert found == FrameComparison(None)


def test_no_more_differences_in_memory_are_told_than_one_can_look_at(
    sqlite_engine: Engine, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(byte_by_byte, "MOST_TOLD", 2)
    with factories.acting(sqlite_engine) as work:
        memory = memory_of(
            work, s_record(0x100, DATA), s_record(0x100, bytes(each ^ 1 for each in DATA))
        )
    assert memory is not None
    assert (len(memory.changes), memory.more) == (2, True)
    assert memory.tally == {ChangeKind.CHANGED: 32}


def test_memory_is_compared_by_address_and_moved_code_put_back(engine: Engine):
    patched = DATA[:9] + b"\0\0" + DATA[11:]
    with factories.acting(engine) as work:
        assert memory_of(work, s_record(0x100, DATA), s_record(0x100, patched)) == (
            MemoryComparison(
                (BytesChange(ChangeKind.CHANGED, 0x109, 0x109, DATA[9:11], b"\0\0"),),
                more=False,
                writing=HEXADECIMAL,
                moved_by=0,
            )
        )
        moved = memory_of(work, s_record(0x1000, DATA), s_record(0x2000, DATA))
        assert moved == MemoryComparison((), more=False, writing=HEXADECIMAL, moved_by=0x1000)


def test_memory_of_words_is_told_word_by_word_in_the_notation_of_its_machine(
    sqlite_engine: Engine,
):
    words = [0o7300 + at % 64 for at in range(300)]
    other = [*words[:70], 0o1234, 0o4321, *words[72:]]
    with factories.acting(sqlite_engine) as work:
        found = memory_of(work, *(bin12(0o200, each) for each in (words, other)))
        moved = memory_of(work, bin12(0o200, words), bin12(0o400, words))
    assert found is not None
    assert found.writing == OCTAL_WORDS
    (change,) = found.changes
    assert (change.kind, change.left_at) == (ChangeKind.CHANGED, 0o200 + 70)
    assert change.right == bytes.fromhex("029C 08D1")
    assert found.tally == {ChangeKind.CHANGED: 2}
    assert moved is not None
    assert (moved.changes, moved.moved_by) == ((), 0o200)


def test_memory_is_not_compared_where_one_of_the_two_loads_none(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        assert memory_of(work, factories.text_tape(), factories.hex_tape()) is None


def test_cells_of_two_machines_are_compared_byte_by_byte(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        found = memory_of(work, bin12(0o200, [0o7300] * 99), s_record(0x100, DATA))
    assert found is not None
    assert found.writing == HEXADECIMAL
