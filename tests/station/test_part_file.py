"""What is read is on the disk, under its own name in the end, and never over another file."""

import errno
import os

import pytest

from server.station import part_file
from server.station.errors import NotPossible
from server.station.part_file import PartFile, Parts, rename_new
from server.station.parts_joined import join_parts
from tests.station.reels import tape

FRAMES = tape(1500)


@pytest.fixture
def parts(tmp_path):
    return Parts(tmp_path / "reel.bin")


def _put(parts, *contents):
    for frames in contents:
        with parts.begin() as part:
            part.write(frames, 0.0)


def test_frames_are_in_the_file_as_soon_as_they_are_written_and_on_the_disk_each_second(
    parts, monkeypatch
):
    synced: list[int] = []
    monkeypatch.setattr(os, "fsync", synced.append)
    with parts.begin() as part:
        synced.clear()
        for second in range(10):
            part.write(b"AB", 100.0 + second / 2)
            assert part.path.stat().st_size == 2 * (second + 1)
        assert len(synced) == 5


def test_a_part_of_no_frames_is_taken_away(parts):
    with parts.begin() as part:
        assert part.path.exists()

    assert not part.path.exists()


def test_a_part_becomes_the_file_and_never_takes_the_name_of_another(parts):
    _put(parts, FRAMES)
    parts.become_whole()
    assert parts.target.read_bytes() == FRAMES
    assert parts.found() == []

    _put(parts, b"another")
    with pytest.raises(NotPossible, match="never written over"):
        parts.become_whole()
    with pytest.raises(NotPossible, match="never written over"):
        parts.require_free()
    assert parts.target.read_bytes() == FRAMES
    assert parts.first.read_bytes() == b"another"


@pytest.mark.parametrize("number", [errno.EPERM, errno.EOPNOTSUPP])
def test_a_file_system_without_links_is_used_all_the_same(tmp_path, monkeypatch, number):
    def refuse(*_):
        raise OSError(number, "no links here")

    monkeypatch.setattr(os, "link", refuse)
    old, new = tmp_path / "old", tmp_path / "new"
    old.write_bytes(b"frames")
    rename_new(old, new)
    assert new.read_bytes() == b"frames"

    old.write_bytes(b"more")
    with pytest.raises(FileExistsError):
        rename_new(old, new)
    assert (old.read_bytes(), new.read_bytes()) == (b"more", b"frames")


def test_any_other_failure_to_rename_is_told(tmp_path, monkeypatch):
    def refuse(*_):
        raise OSError(errno.EIO, "broken disk")

    monkeypatch.setattr(os, "link", refuse)
    (tmp_path / "old").write_bytes(b"frames")
    with pytest.raises(OSError, match="broken disk"):
        rename_new(tmp_path / "old", tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_a_folder_that_is_not_there_is_said_before_the_reader_starts(tmp_path):
    with pytest.raises(NotPossible, match="There is no folder"):
        Parts(tmp_path / "nowhere" / "reel.bin").require_free()


def test_parts_of_several_passes_become_one_in_order(parts):
    _put(parts, FRAMES[:700], FRAMES[500:1200], FRAMES[1000:])

    joins = join_parts(parts)

    assert [join.added for join in joins] == [500, len(FRAMES) - 1200]
    assert parts.found() == [parts.first]
    assert parts.first.read_bytes() == FRAMES


def test_a_part_that_joins_only_after_a_later_one_is_joined_then(parts):
    _put(parts, FRAMES[:700], FRAMES[900:], FRAMES[500:1100])

    assert len(join_parts(parts)) == 2
    assert parts.first.read_bytes() == FRAMES
    assert parts.found() == [parts.first]


def test_a_part_that_does_not_join_stays_under_its_name(parts):
    _put(parts, FRAMES[:700], b"rubbish" * 50, FRAMES[500:])

    assert len(join_parts(parts)) == 1
    assert parts.first.read_bytes() == FRAMES
    assert parts.found() == [parts.first, parts.first.with_name("reel.bin.part-2")]

    _put(parts, FRAMES[:100])
    assert parts.found()[-1].name == "reel.bin.part-3"


def test_a_later_part_is_found_though_one_before_it_is_gone(parts):
    _put(parts, FRAMES[:700], FRAMES[500:900], b"rubbish" * 50)
    join_parts(parts)

    assert [path.name for path in parts.found()] == ["reel.bin.part", "reel.bin.part-3"]


def test_a_crash_between_joining_and_tidying_is_made_good(parts, monkeypatch):
    _put(parts, FRAMES[:700], FRAMES[500:])
    parts.replace_first(FRAMES)

    join_parts(parts)

    assert parts.first.read_bytes() == FRAMES
    assert parts.found() == [parts.first]


def test_an_empty_part_that_a_crash_left_makes_room(parts):
    parts.first.touch()

    _put(parts, FRAMES)

    assert parts.first.read_bytes() == FRAMES
    assert part_file.SYNC_SECONDS == 1.0
    with pytest.raises(FileExistsError):
        PartFile(parts.first)
