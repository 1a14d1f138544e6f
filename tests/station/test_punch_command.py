"""`punch` as it is typed, over a real pty."""

import hashlib
import os

import pytest

from server.cli import main
from server.commands.at_the_machine import BROKEN_OFF, WAITS
from server.commands.console import DONE, REFUSED, UNUSABLE
from server.station.control import DC3
from tests.station.devices import LONGEST_WAIT
from tests.station.reels import tape

FRAMES = tape(1500)
SHA256 = hashlib.sha256(FRAMES).hexdigest()


def _punch(machine, source, *more):
    words = ["punch", machine.port, str(source), "--baud", "115200", *more]
    return main([str(word) for word in words])


def test_a_file_is_punched_frame_for_frame(punch, reel, said):
    reel.write_bytes(FRAMES)
    machine = punch()

    assert _punch(machine, reel, "--yes", "--sha256", SHA256) == DONE

    machine.close()
    told = said()
    assert machine.heard == FRAMES
    assert "1,820 of 1,820 frames have gone out (4,622.8 mm)" in told.out
    assert SHA256 in told.err
    assert "licensed" in told.err
    assert "conservator" in told.err


def test_a_file_with_another_digest_never_reaches_the_punch(punch, reel, said):
    reel.write_bytes(FRAMES)
    machine = punch()

    assert _punch(machine, reel, "--yes", "--sha256", "0" * 64) == REFUSED
    machine.close()
    assert machine.heard == b""
    assert SHA256 in said().err


def test_frames_of_the_archive_are_punched_by_their_address(punch, reader, reel, at_archive, said):
    main(["read", reader(FRAMES).port, str(reel), "--baud", "9600", "--reader-control"])
    frames = reel.read_bytes()
    sha256 = hashlib.sha256(frames).hexdigest()
    machine = punch()

    url = f"{at_archive.url}/api/v1/images/{sha256}/frames"
    assert _punch(machine, url, "--yes") == DONE
    machine.close()
    assert machine.heard == frames
    assert "verification: unverified" in said().err


def test_an_archive_that_is_away_is_told_and_nothing_moves(punch, closed_port, said):
    machine = punch()

    assert _punch(machine, f"{closed_port}/api/v1/images/{SHA256}/frames", "--yes") == WAITS
    machine.close()
    assert machine.heard == b""


@pytest.mark.parametrize(("answer", "status"), [("yes\n", DONE), ("no\n", REFUSED), ("", REFUSED)])
def test_it_is_asked_before_the_punch_starts(punch, reel, said, monkeypatch, answer, status):
    reel.write_bytes(FRAMES)
    machine = punch()
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stdin.readline", lambda: answer, raising=False)

    assert _punch(machine, reel) == status
    machine.close()
    assert machine.heard == (FRAMES if status == DONE else b"")


def test_where_nobody_can_be_asked_it_does_not_start(punch, reel, said):
    reel.write_bytes(FRAMES)
    machine = punch()

    assert _punch(machine, reel) == UNUSABLE
    assert "--yes" in said().err


def test_after_a_jam_it_is_told_where_the_next_frame_is_and_goes_on_there(punch, reel, said):
    reel.write_bytes(FRAMES)
    jammed = punch(lambda machine: os.write(machine.master, bytes([DC3])), 500)
    words = ("--yes", "--flow", "xon-xoff", "--rate", "2000", "--patience", "0.5")
    assert _punch(jammed, reel, *words) == BROKEN_OFF
    jammed.close()
    told = said()
    sent = len(jammed.heard)
    assert f"{sent:,} of 1,820 frames have gone out" in told.out
    assert f"The next is frame {sent:,}." in told.err

    again = punch()
    assert _punch(again, reel, "--yes", "--from-frame", sent) == UNUSABLE
    assert "--overlap" in said().err
    assert _punch(again, reel, "--yes", "--from-frame", sent, "--overlap", "20") == DONE
    again.close()
    assert again.heard == FRAMES[sent - 20 :]
    fresh = punch()
    assert _punch(fresh, reel, "--yes", "--from-frame", sent, "--fresh-leader", "60") == DONE
    fresh.close()
    assert fresh.heard == bytes(60) + FRAMES[sent:]
    assert f"going on with frame {sent:,}" in said().err


def test_a_punch_that_goes_away_is_told(punch, reel, said):
    reel.write_bytes(FRAMES)

    def hang_up(machine):
        os.close(machine.master)
        machine.over.set()

    machine = punch(hang_up, 300)
    assert _punch(machine, reel, "--yes", "--rate", "2000") == BROKEN_OFF
    told = said()
    assert "failed" in told.err
    assert "The next is frame" in told.err
    machine.join(LONGEST_WAIT)
    os.close(machine.slave)


def test_an_empty_file_and_a_missing_one_are_refused(punch, reel, said):
    assert main(["punch", "/dev/null", str(reel)]) == UNUSABLE
    reel.touch()
    assert main(["punch", "/dev/null", str(reel)]) == UNUSABLE
    assert "holds no frames" in said().err
