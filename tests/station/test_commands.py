"""`read`, `punch` and `send` as they are typed, over a real pty, to an archive really served.

The machines here run beside the command, in a thread or with the command in a process of its own,
and every wait has an end. Nothing is told by the clock: passes end by trailer or by what is sent.
"""

import hashlib
import os
import select
import signal
import subprocess
import sys
import termios
import threading
import time
import tty
from collections.abc import Callable, Iterator

import pytest

from server.cli import main
from server.commands.at_the_machine import BROKEN_OFF, STOPPED, WAITS
from server.commands.console import DONE, REFUSED, UNUSABLE
from server.station.control import DC1, DC3
from tests.station.devices import LONGEST_WAIT
from tests.station.reels import content, tape

FRAMES = tape(1500)
SHA256 = hashlib.sha256(FRAMES).hexdigest()


class Reader(threading.Thread):
    """A reader that runs from DC1 until all of `frames` are through, then `ending` happens."""

    def __init__(self, frames: bytes, ending: Callable[["Reader"], None] | None = None) -> None:
        super().__init__(daemon=True)
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.heard = bytearray()
        self._frames = frames
        self._ending = ending or (lambda _: None)

    def run(self) -> None:
        self.wait_for(DC1)
        for at in range(0, len(self._frames), 64):
            os.write(self.master, self._frames[at : at + 64])
        self._ending(self)

    def wait_for(self, character: int) -> None:
        deadline = time.monotonic() + LONGEST_WAIT
        while character not in self.heard:
            assert time.monotonic() < deadline
            if select.select([self.master], [], [], 0.05)[0]:
                self.heard += os.read(self.master, 4096)

    def hang_up(self) -> None:
        # What was sent must have been taken: a pty throws it away when the far end closes.
        self.until_taken()
        os.close(self.master)
        self.master = -1

    def until_taken(self) -> None:
        deadline = time.monotonic() + LONGEST_WAIT
        quiet = 0
        while quiet < 20:
            assert time.monotonic() < deadline
            quiet = 0 if _waiting(self.slave) else quiet + 1
            time.sleep(0.01)

    def close(self) -> None:
        self.join(LONGEST_WAIT)
        for descriptor in (self.master, self.slave):
            if descriptor >= 0:
                os.close(descriptor)


def _waiting(descriptor: int) -> int:
    import fcntl

    return int.from_bytes(fcntl.ioctl(descriptor, termios.FIONREAD, bytes(4)), sys.byteorder)


@pytest.fixture
def reader() -> Iterator[Callable[..., Reader]]:
    made: list[Reader] = []

    def make(*given) -> Reader:
        made.append(Reader(*given))
        made[-1].start()
        return made[-1]

    yield make
    for each in made:
        each.close()


@pytest.fixture
def reel(tmp_path):
    return tmp_path / "reel.bin"


@pytest.fixture
def outbox(tmp_path, monkeypatch):
    monkeypatch.setenv("FEEDHOLE_OUTBOX", str(tmp_path / "outbox"))
    return tmp_path / "outbox"


@pytest.fixture
def at_archive(served, outbox, tmp_path, monkeypatch):
    """An archive named by the environment, its token in a file."""
    (tmp_path / "token").write_text(f"{served.token}\n")
    monkeypatch.setenv("FEEDHOLE_ARCHIVE", served.url)
    monkeypatch.setenv("FEEDHOLE_TOKEN_FILE", str(tmp_path / "token"))
    return served


def _read(machine, file, *more):
    words = ["read", machine.port, str(file), "--baud", "9600", "--reader-control", *more]
    return main([str(word) for word in words])


def test_a_tape_is_read_into_a_file(reader, reel, said):
    machine = reader(FRAMES)

    assert _read(machine, reel) == DONE

    told = said()
    assert FRAMES.startswith(reel.read_bytes())
    assert content(1500) in reel.read_bytes()
    assert "trailer" in told.out
    assert hashlib.sha256(reel.read_bytes()).hexdigest() in told.out
    assert "conservator" in told.err
    assert [path.name for path in reel.parent.iterdir()] == ["reel.bin"]
    machine.wait_for(DC3)


def test_a_tape_that_was_read_is_in_the_archive_with_what_was_said_of_it(
    reader, reel, at_archive, outbox, said
):
    assert _read(reader(FRAMES), reel, "--reader", "bench reader", "--levels", "8") == DONE

    told = said()
    assert "sent, a new image" in told.out
    assert at_archive.token not in told.out + told.err
    assert [path.suffixes for path in outbox.glob("reel-*")] == [[".sent", ".json"]]
    assert main(["send"]) == DONE
    assert "Nothing waits" in said().out


def test_with_the_network_down_the_reading_waits_and_is_sent_later(
    reader, reel, closed_port, served, outbox, tmp_path, said
):
    assert _read(reader(FRAMES), reel, "--archive", closed_port) == WAITS
    told = said()
    assert "1 reading in" in told.err
    assert "python -m server send" in told.err
    assert main(["send", "--archive", closed_port]) == WAITS
    assert main(["send", "--list"]) == DONE
    assert "reel-" in said().out

    (tmp_path / "token").write_text(served.token)
    words = ["send", "--archive", served.url, "--token-file", str(tmp_path / "token")]
    assert main(words) == DONE
    assert "sent, a new image" in said().out
    assert main(["send", "--list"]) == DONE
    assert "Nothing waits" in said().out
    assert main(words) == DONE


def test_a_reading_that_the_archive_refuses_waits(reader, reel, at_archive, said):
    assert _read(reader(FRAMES), reel, "--tape", "1999.99") == REFUSED
    assert "1999.99" in said().err
    assert reel.exists()
    assert main(["send"]) == REFUSED


def test_sending_nowhere_is_refused_and_what_a_crash_left_is_named(outbox, said):
    outbox.mkdir()
    (outbox / "reel-1.bin").write_bytes(b"frames")

    assert main(["send"]) == UNUSABLE
    told = said()
    assert "No archive is named" in told.err
    assert "reel-1.bin lies in the outbox" in told.err


def test_nothing_is_read_over_a_file_that_is_there(reader, reel, said):
    reel.write_bytes(b"another tape")

    assert main(["read", "/dev/null", str(reel)]) == UNUSABLE
    assert "never written over" in said().err
    assert reel.read_bytes() == b"another tape"


def test_a_machine_that_hangs_up_leaves_a_part_and_the_tape_fed_again_completes_it(
    reader, reel, said
):
    stopped = 900
    assert _read(reader(FRAMES[:stopped], Reader.hang_up), reel) == BROKEN_OFF
    part = reel.with_name("reel.bin.part")
    assert part.read_bytes() == FRAMES[:stopped]
    told = said()
    assert "reel.bin.part holds 900 frames (2,286.0 mm)" in told.err
    assert "--resume" in told.err
    assert not reel.exists()

    # Without a word of going on, nothing touches what was read.
    assert main(["read", "/dev/null", str(reel)]) == UNUSABLE
    assert "--resume" in said().err

    assert _read(reader(FRAMES[stopped - 120 :]), reel, "--resume") == DONE
    assert "fed again from frame 780: 120 frames overlap" in said().out
    assert FRAMES.startswith(reel.read_bytes())
    assert content(1500) in reel.read_bytes()
    assert [path.name for path in reel.parent.iterdir()] == ["reel.bin"]


def test_a_pass_that_does_not_join_is_kept_beside_the_first(reader, reel, said):
    _read(reader(FRAMES[:900], Reader.hang_up), reel)
    said()

    assert _read(reader(FRAMES[900:]), reel, "--resume") == BROKEN_OFF
    told = said()
    assert "do not join" in told.err
    assert reel.with_name("reel.bin.part").read_bytes() == FRAMES[:900]
    second = reel.with_name("reel.bin.part-2")
    assert FRAMES[900:].startswith(second.read_bytes())

    # Fed from further back, all three become one.
    assert _read(reader(FRAMES[700:]), reel, "--resume", "--from-frame", "690") == DONE
    assert content(1500) in reel.read_bytes()


def test_what_was_read_may_be_taken_as_it_is(reader, reel, said):
    _read(reader(FRAMES[:900], Reader.hang_up), reel)

    assert main(["read", "/dev/null", str(reel), "--finish"]) == DONE
    assert reel.read_bytes() == FRAMES[:900]


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (["--resume"], "no "), (["--finish"], "no "), (["--from-frame", "5"], "--resume"),
        (["--rate", "500"], "at most 10.0 frames a second"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_before_the_line_is_opened(reel, said, more, told):
    assert main(["read", "/dev/null", str(reel), *more]) == UNUSABLE
    assert told in said().err


def test_a_count_of_frames_when_going_on_needs_a_place(reader, reel, said):
    _read(reader(FRAMES[:900], Reader.hang_up), reel)

    words = ["read", "/dev/null", str(reel), "--resume", "--frames", "1500"]
    assert main(words) == UNUSABLE
    assert "--from-frame" in said().err
    machine = reader(FRAMES[800:])
    going_on = ("--resume", "--frames", "1500", "--from-frame", "800")
    assert _read(machine, reel, *going_on) == DONE
    assert reel.read_bytes()[:1500] == FRAMES[:1500]


def test_a_line_on_which_nothing_comes_is_told(reader, reel, said):
    machine = reader(b"")

    assert _read(machine, reel, "--patience", "0.3") == BROKEN_OFF
    assert "Nothing came in" in said().err
    assert list(reel.parent.iterdir()) == []


def _started(machine, reel, *more):
    words = [sys.executable, "-m", "server", "read", machine.port, reel, "--baud", "9600"]
    return subprocess.Popen(
        [*words, "--reader-control", *more], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )


def _until_held(part, frames):
    deadline = time.monotonic() + LONGEST_WAIT
    while not part.exists() or part.stat().st_size < frames:
        assert time.monotonic() < deadline
        time.sleep(0.01)


def test_a_reading_killed_midway_is_gone_on_with(reader, reel, said):
    part = reel.with_name("reel.bin.part")
    machine = reader(FRAMES[:1000])
    with _started(machine, reel, "--quiet", "0") as process:
        _until_held(part, 1000)
        process.send_signal(signal.SIGKILL)
        process.communicate(timeout=LONGEST_WAIT)
    assert process.returncode == -signal.SIGKILL
    assert part.read_bytes() == FRAMES[:1000]

    assert _read(reader(FRAMES[850:]), reel, "--resume") == DONE
    assert FRAMES.startswith(reel.read_bytes())
    assert content(1500) in reel.read_bytes()


def test_a_second_pass_killed_midway_is_gone_on_with_too(reader, reel, said):
    _read(reader(FRAMES[:600], Reader.hang_up), reel)
    with _started(reader(FRAMES[450:1000]), reel, "--resume", "--quiet", "0") as process:
        _until_held(reel.with_name("reel.bin.part-2"), 550)
        process.send_signal(signal.SIGKILL)
        process.communicate(timeout=LONGEST_WAIT)

    assert _read(reader(FRAMES[850:]), reel, "--resume") == DONE
    assert content(1500) in reel.read_bytes()
    assert [path.name for path in reel.parent.iterdir()] == ["reel.bin"]


def test_ctrl_c_stops_the_reader_and_keeps_what_came(reader, reel):
    machine = reader(FRAMES[:1000])
    part = reel.with_name("reel.bin.part")
    with _started(machine, reel, "--quiet", "0") as process:
        _until_held(part, 1000)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=LONGEST_WAIT)

    assert process.returncode == STOPPED, err
    assert b"stopped by hand" in out
    assert b"Traceback" not in err
    assert part.read_bytes() == FRAMES[:1000]
    machine.wait_for(DC3)


class Punch(threading.Thread):
    """A punch that takes what comes until the line is closed or it `hears` enough."""

    def __init__(self, ending: Callable[["Punch"], None] | None = None, hears: int = 10**9) -> None:
        super().__init__(daemon=True)
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.heard = bytearray()
        self.over = threading.Event()
        self._ending = ending
        self._hears = hears

    def run(self) -> None:
        while not self.over.is_set() and len(self.heard) < self._hears:
            self.take()
        if self._ending is not None:
            self._ending(self)

    def take(self, wait: float = 0.02) -> bool:
        if not select.select([self.master], [], [], wait)[0]:
            return False
        self.heard += os.read(self.master, 4096)
        return True

    def close(self) -> None:
        self.over.set()
        self.join(LONGEST_WAIT)
        while self.take(0.05):
            pass
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def punch():
    made = []

    def make(*given):
        made.append(Punch(*given))
        made[-1].start()
        return made[-1]

    yield make
    for each in made:
        if not each.over.is_set():
            each.close()


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
    _read(reader(FRAMES), reel)
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


@pytest.mark.parametrize(
    "words",
    [["--baud", "0"], ["--baud", "x"], ["--rate", "0"], ["--quiet", "-1"], ["--frames", "x"]],
)
def test_numbers_that_are_none_are_refused_by_the_command_line(words, reel, said):
    with pytest.raises(SystemExit) as stopped:
        main(["read", "/dev/null", str(reel), *words])
    assert stopped.value.code == UNUSABLE


@pytest.mark.parametrize("command", ["read", "punch", "send"])
def test_the_help_of_each_command_says_what_its_exit_status_means(command, said):
    with pytest.raises(SystemExit):
        main([command, "--help"])

    told = said().out
    for status in (DONE, REFUSED, UNUSABLE, BROKEN_OFF, WAITS, STOPPED):
        assert f"\n  {status} " in told
