"""Reading over a real pty, at whose other end a scripted reader does what readers do."""

import random

import pytest

from server.station.control import DC1, DC3
from server.station.line_settings import Flow
from server.station.marks import Fault, FaultKind
from server.station.part_file import PartFile
from server.station.reading import Ending, ReadingPlan, TapeReader
from server.station.stopping import Stop
from tests.station.devices import LOST, ScriptedPort
from tests.station.reels import LEADER, TRAILER, content, tape


@pytest.fixture
def read(tmp_path, clock, progress):
    """Read over a line; the pass, and what the part holds."""

    def run(line, stop=None, **plan):
        with PartFile(tmp_path / "reel.bin.part") as part:
            reader = TapeReader(
                line,
                ReadingPlan(**plan),
                part,
                clock=clock,
                stop=stop or Stop(),
                progress=progress,
            )
            done = reader.read()
        line.close()
        path = tmp_path / "reel.bin.part"
        kept = path.read_bytes() if path.exists() else b""
        assert done.frames == len(kept)
        return done, kept

    return run


def test_a_tape_is_kept_frame_for_frame_until_its_trailer(machine, read):
    machine.follow(machine.feed(tape()))

    done, kept = read(machine.line())

    assert (done.ending, done.whole) == (Ending.TRAILER, True)
    assert kept[: len(LEADER) + 3000] == LEADER + content()
    assert tape().startswith(kept)
    assert done.faults == []


def test_a_reader_under_control_is_started_and_stopped_and_its_last_frames_are_kept(machine, read):
    def script():
        yield from machine.until_heard(1)
        assert machine.heard == bytes([DC1])
        yield from machine.feed(LEADER + content(500))
        yield from machine.feed(TRAILER[:200])
        while machine.heard[-1] != DC3:
            yield
        machine.send(b"\0\0\0")
        yield from machine.idle(0.5)
        machine.send(b"\xaa")

    machine.follow(script())
    done, kept = read(machine.line(), reader_control=True)

    assert (done.ending, done.whole) == (Ending.TRAILER, True)
    assert kept == LEADER + content(500) + TRAILER[:200] + b"\0\0\0\xaa"
    machine.hear(0.05)
    assert machine.heard == bytes([DC1, DC3])


def test_a_reader_that_stalls_for_a_while_is_waited_for(machine, read):
    def script():
        yield from machine.feed(LEADER + content(100, seed=1))
        yield from machine.idle(9.0)
        yield from machine.feed(content(100, seed=2) + TRAILER)

    machine.follow(script())
    done, kept = read(machine.line(), quiet=10)

    assert done.whole
    assert (LEADER + content(100, seed=1) + content(100, seed=2) + TRAILER).startswith(kept)


def test_a_reader_that_stalls_in_the_middle_has_not_come_to_the_end(machine, read):
    machine.follow(machine.feed(LEADER + content(700)))

    done, kept = read(machine.line(), quiet=10)

    assert (done.ending, done.whole) == (Ending.QUIET, False)
    assert kept == LEADER + content(700)


@pytest.mark.parametrize("end", [bytes(30), b"\xff" * 30, b"\x80" * 30])
def test_a_quiet_line_after_a_short_trailer_is_the_end(machine, read, end):
    machine.follow(machine.feed(LEADER + content(700) + end))

    done, kept = read(machine.line())

    assert (done.ending, done.whole) == (Ending.QUIET, True)
    assert kept == LEADER + content(700) + end


def test_where_only_a_quiet_line_is_asked_for_it_is_the_end_of_any_tape(machine, read):
    frames = content(300, seed=1) + bytes(1000) + content(300, seed=2)
    machine.follow(machine.feed(frames))

    done, kept = read(machine.line(), trailer=0)

    assert (done.ending, done.whole, kept) == (Ending.QUIET, True, frames)


def test_a_count_of_frames_ends_the_pass_and_fewer_are_not_the_whole(machine, read):
    machine.follow(machine.feed(content(400), portion=50))
    done, kept = read(machine.line(), frames=200)
    assert (done.ending, done.whole, kept) == (Ending.COUNT, True, content(400)[:200])


def test_fewer_frames_than_were_counted_are_not_the_whole(machine, read):
    machine.follow(machine.feed(content(100) + bytes(20)))

    done, _ = read(machine.line(), frames=200)

    assert (done.ending, done.whole) == (Ending.QUIET, False)


def test_blanks_before_any_content_are_leader_however_many(machine, read):
    machine.follow(machine.feed(bytes(1000) + content(50) + TRAILER))

    _, kept = read(machine.line())

    assert kept.rstrip(b"\0") == bytes(1000) + content(50)


def test_whatever_rubbish_comes_is_kept_byte_for_byte(machine, read):
    rng = random.Random(3)
    rubbish = bytes(range(256)) + bytes(rng.randrange(256) for _ in range(3000)) + b"\xff\xff\xff"
    rubbish += bytes([DC3, DC1, 3, 4, 26, 28, 255, 0, 65, 255, 0, 0])
    machine.follow(machine.feed(rubbish, portion=97))

    done, kept = read(machine.line(flow=Flow.XON_XOFF), trailer=0)

    assert kept == rubbish
    assert done.faults == []


def test_a_machine_that_hangs_up_midway_loses_nothing_that_came(machine, read):
    def script():
        yield from machine.feed(LEADER + content(500))
        yield
        machine.hang_up()

    machine.follow(script())
    done, kept = read(machine.line())

    assert (done.ending, done.whole) == (Ending.LOST, False)
    assert kept == LEADER + content(500)
    assert machine.port in done.lost.what


def test_a_line_on_which_nothing_comes_is_given_up_and_leaves_no_file(machine, read, clock):
    begun = clock.now()

    done, kept = read(machine.line(), patience=60)

    assert (done.ending, done.whole, kept) == (Ending.SILENT, False, b"")
    assert 60 <= clock.now() - begun < 61


def test_a_stop_by_hand_stops_the_reader_and_keeps_what_came(machine, read):
    stop = Stop()

    def script():
        yield from machine.feed(LEADER + content(300))
        stop.asked = True
        yield
        machine.send(b"\x55")

    machine.follow(script())
    done, kept = read(machine.line(), stop=stop, reader_control=True)

    assert (done.ending, done.whole) == (Ending.HAND, False)
    assert kept == LEADER + content(300) + b"\x55"
    machine.hear(0.05)
    assert machine.heard == bytes([DC1, DC3])


@pytest.mark.parametrize("flow", [Flow.XON_XOFF, Flow.NONE])
def test_a_reader_faster_than_the_station_is_held_back_where_the_line_is_set_so(
    machine, read, flow
):
    flood = content(3000)

    def script():
        machine.send(flood)
        yield
        yield from machine.feed(TRAILER)

    machine.follow(script())
    _, kept = read(machine.line(flow=flow))

    assert kept.startswith(flood)
    machine.hear(0.05)
    assert machine.heard == (bytes([DC3, DC1]) if flow is Flow.XON_XOFF else b"")


def test_damaged_frames_are_kept_and_located(clock, read):
    # As POSIX says a driver marks them (PARMRK); a pty has no wires that could damage a frame.
    pieces = (b"ABC\xff\x00D", b"E\xff\xffF\xff", b"\x00\x00G", b"\xff", b"\xff")
    port = ScriptedPort(clock, pieces)

    done, kept = read(port.line(marked=True), trailer=0)

    assert kept == b"ABCDE\xffF\0G\xff"
    assert done.faults == [Fault(3, FaultKind.DAMAGED), Fault(7, FaultKind.BREAK)]
    assert port.closed


def test_a_port_that_is_pulled_out_is_said_to_be_lost(clock, read):
    port = ScriptedPort(clock)
    port.broken = LOST

    done, _ = read(port.line(), reader_control=True)

    assert done.ending is Ending.LOST
