from random import Random

import pytest
from sqlalchemy import Engine

from server.catalog import byte_by_byte, images, kinship
from server.catalog.byte_by_byte import FrameComparison, MemoryComparison
from server.catalog.work import Work
from server.tape.bytes_diff import BytesChange, ChangeKind
from server.tape.image import Image, Orientation
from tests import factories
from tests.catalog.test_kinship import image_id, s_record

DATA = Random(3).randbytes(400)


def frames_of(work: Work, *readings: bytes) -> FrameComparison | None:
    tape = factories.tape(work).accession_number
    both = [factories.upload(work, each, tape=tape).image for each in readings]
    return byte_by_byte.frames(work, *both)


def memory_of(work: Work, a: bytes, b: bytes) -> MemoryComparison | None:
    left, right = (factories.upload(work, each).image.sha256 for each in (a, b))
    kin = kinship.between(work, image_id(work, left), image_id(work, right))
    return byte_by_byte.memory(work, left, right, -kin.moved_by)


def test_two_readings_are_compared_frame_by_frame_where_each_was_read(engine: Engine):
    tape = factories.text_tape(leader=60)
    at = tape.index(b"30"[:1], 60)
    dropped = bytes(17) + tape[:at] + tape[at + 1 :]
    with factories.acting(engine) as work:
        found = frames_of(work, tape, dropped)
    assert found == FrameComparison(
        (BytesChange(ChangeKind.REMOVED, at, at + 17, tape[at : at + 1], b""),), more=False
    )


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
        one = factories.upload(work, factories.text_tape()).image
        other = factories.upload(work, factories.text_tape(leader=99)).image
        assert byte_by_byte.frames(work, one, other) is None
        assert byte_by_byte.frames(work, one, one) is None


def test_what_nobody_recognised_is_compared_by_its_frames(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        one = factories.upload(work, DATA).image
        other = factories.upload(work, DATA[:200] + DATA[201:]).image
        assert one.format == other.format == "unrecognised"
        found = byte_by_byte.frames(work, one, other)
    assert found is not None
    assert [each.kind for each in found.changes or ()] == [ChangeKind.REMOVED]


def test_readings_too_far_apart_are_said_to_be_so(
    sqlite_engine: Engine, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(byte_by_byte, "MOST_CHANGES", 3)
    with factories.acting(sqlite_engine) as work:
        found = frames_of(work, factories.text_tape(), factories.text_tape("10 END", "20 STOP"))
    assert found == FrameComparison(None, more=False)


def test_no_more_differences_are_told_than_one_can_look_at(
    sqlite_engine: Engine, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(byte_by_byte, "MOST_SHOWN", 2)
    tape = factories.text_tape()
    read = tape
    for at in (70, 90, 110):
        read = factories.damaged(read, at)
    with factories.acting(sqlite_engine) as work:
        found = frames_of(work, tape, read)
        memory = memory_of(
            work, s_record(0x100, DATA), s_record(0x100, bytes(each ^ 1 for each in DATA))
        )
    assert found is not None
    assert (len(found.changes or ()), found.more) == (2, True)
    assert memory is not None
    assert (len(memory.changes), memory.more) == (2, True)


def test_memory_is_compared_by_address_and_moved_code_put_back(engine: Engine):
    patched = DATA[:9] + b"\0\0" + DATA[11:]
    with factories.acting(engine) as work:
        assert memory_of(work, s_record(0x100, DATA), s_record(0x100, patched)) == (
            MemoryComparison(
                (BytesChange(ChangeKind.CHANGED, 0x109, 0x109, DATA[9:11], b"\0\0"),), more=False
            )
        )
        moved = memory_of(work, s_record(0x1000, DATA), s_record(0x2000, DATA))
        assert moved == MemoryComparison((), more=False)
        text = images.get(work, factories.upload(work, factories.text_tape()).image.sha256)
        other = factories.upload(work, factories.hex_tape()).image
        assert byte_by_byte.memory(work, text.sha256, other.sha256, 0) is None
