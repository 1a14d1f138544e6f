"""Punching over a real pty, at whose other end a scripted punch does what punches do.

A pty has no RTS and CTS, so those are tested on a scripted port with pyserial's own interface.
"""

import math

import pytest

from server.station.control import DC1, DC3
from server.station.errors import NotPossible
from server.station.line_settings import Flow
from server.station.punching import PunchEnding, PunchPlan, TapePuncher
from server.station.stopping import Stop
from tests.station.devices import LOST, ScriptedPort
from tests.station.reels import content

RATE = 70


@pytest.fixture
def punch(clock, progress):
    def run(line, frames, stop=None, **plan):
        made = PunchPlan(frames=frames, **({"rate": RATE} | plan))
        puncher = TapePuncher(line, made, clock=clock, stop=stop or Stop(), progress=progress)
        done = puncher.punch()
        line.close()
        return done

    return run


@pytest.mark.parametrize("flow", [Flow.NONE, Flow.XON_XOFF])
def test_every_frame_goes_out_once_and_in_order(machine, punch, flow):
    machine.follow(iter(()))

    done = punch(machine.line(flow=flow), content(1000))

    machine.hear(0.05)
    assert machine.heard == content(1000)
    assert (done.ending, done.sent, done.strays) == (PunchEnding.DONE, 1000, 0)


@pytest.mark.parametrize("rate", [10, 70, 500])
def test_a_punch_is_not_fed_faster_than_it_runs(machine, punch, clock, rate):
    machine.follow(iter(()))
    begun = clock.now()

    punch(machine.line(baud=19200), content(400), rate=rate)

    portion = math.ceil(rate / 10)
    assert clock.now() - begun == pytest.approx(400 / rate, abs=(portion + 1) / rate + 0.02)


@pytest.mark.parametrize("parity", [0, 0x80])
def test_a_punch_that_sends_dc3_gets_nothing_until_it_sends_dc1(machine, punch, clock, parity):
    """DC3 holds whether it comes in parity or not; a portion may be under way by then."""
    heard = []

    def script():
        yield from machine.until_heard(300)
        machine.send(bytes([DC3 | parity]))
        yield
        yield
        machine.hear(0.05)
        heard.append(len(machine.heard))
        yield from machine.idle(60)
        machine.hear(0.05)
        heard.append(len(machine.heard))
        machine.send(bytes([DC1 | parity]))

    machine.follow(script())
    begun = clock.now()
    done = punch(machine.line(flow=Flow.XON_XOFF), content(600))

    held_at, after_a_minute = heard
    assert held_at == after_a_minute < 600
    assert done.ending is PunchEnding.DONE
    machine.hear(0.05)
    assert machine.heard == content(600)
    assert clock.now() - begun > 60


def test_a_punch_that_never_goes_on_ends_it_with_the_exact_count(machine, punch):
    def script():
        yield from machine.until_heard(100)
        machine.send(bytes([DC3]))

    machine.follow(script())
    done = punch(machine.line(flow=Flow.XON_XOFF), content(600), patience=30)

    machine.hear(0.05)
    assert done.ending is PunchEnding.HELD
    assert machine.heard == content(600)[: done.sent]
    assert 100 <= done.sent < 600


def test_dc3_is_only_a_stray_byte_where_the_line_has_no_flow_control(machine, punch):
    def script():
        yield from machine.until_heard(50)
        machine.send(bytes([DC3]))

    machine.follow(script())
    done = punch(machine.line(), content(200))

    assert (done.ending, done.strays) == (PunchEnding.DONE, 1)


def test_what_else_a_punch_sends_is_counted_and_does_not_disturb(machine, punch):
    def script():
        yield from machine.until_heard(50)
        machine.send(b"\xff\x00rubbish\xff")

    machine.follow(script())
    done = punch(machine.line(flow=Flow.XON_XOFF), content(200))

    machine.hear(0.05)
    assert machine.heard == content(200)
    assert (done.ending, done.strays) == (PunchEnding.DONE, 10)


def test_a_punch_that_hangs_up_midway_leaves_a_count(machine, punch):
    def script():
        yield from machine.until_heard(150)
        machine.hear(0.05)
        machine.hang_up()

    machine.follow(script())
    done = punch(machine.line(), content(600))

    assert done.ending is PunchEnding.LOST
    assert machine.heard == content(600)[: len(machine.heard)]
    assert 150 <= len(machine.heard) <= done.sent + done.perhaps < 600


def test_a_stop_by_hand_says_exactly_how_many_frames_have_gone(machine, punch):
    stop = Stop()

    def script():
        yield from machine.until_heard(150)
        stop.asked = True

    machine.follow(script())
    done = punch(machine.line(), content(600), stop=stop)

    machine.hear(0.05)
    assert done.ending is PunchEnding.HAND
    assert machine.heard == content(600)[: done.sent]


def test_a_punch_that_drops_cts_gets_nothing_until_it_raises_it(clock, punch):
    port = ScriptedPort(clock)

    def script():
        while len(port.gone) < 200:
            yield
        port.cts = False
        for _ in range(1000):
            yield
        seen.append(len(port.gone))
        port.cts = True

    seen: list[int] = []
    port.script = script()
    done = punch(port.line(flow=Flow.RTS_CTS), content(500))

    assert seen == [200]
    assert (done.ending, done.sent, bytes(port.gone)) == (PunchEnding.DONE, 500, content(500))


def test_with_cts_off_for_good_what_has_not_left_is_thrown_away_and_not_counted(clock, punch):
    port = ScriptedPort(clock)

    def script():
        while len(port.gone) < 50:
            yield
        port.cts = False

    port.script = script()
    done = punch(port.line(flow=Flow.RTS_CTS), content(500), patience=20)

    assert (done.ending, done.sent) == (PunchEnding.HELD, len(port.gone))
    assert port.queue == b""


def test_no_more_than_a_tenth_of_a_second_is_ever_under_way(clock, punch):
    port = ScriptedPort(clock)
    longest = []

    def script():
        while True:
            longest.append(len(port.queue))
            port.cts = len(longest) % 50 != 0
            yield

    port.script = script()
    punch(port.line(), content(700))

    assert max(longest) <= RATE / 10


def test_a_port_that_fails_with_frames_under_way_leaves_a_range(clock, punch):
    port = ScriptedPort(clock)

    def script():
        while len(port.gone) < 100:
            yield
        port.cts = False
        yield from iter(lambda: None if len(port.queue) < 7 else 1, 1)
        port.broken = LOST

    port.script = script()
    done = punch(port.line(), content(500))

    assert (done.ending, done.sent, done.perhaps) == (PunchEnding.LOST, 100, 7)


def test_after_a_jam_the_last_frames_are_punched_again_or_blanks_lead_in(machine, punch):
    overlapping = PunchPlan(frames=content(600), rate=RATE, first=400, overlap=25)
    fresh = PunchPlan(frames=content(600), rate=RATE, first=400, fresh_leader=80)

    assert overlapping.to_send == content(600)[375:]
    assert [overlapping.frame_after(sent) for sent in (0, 25, 100)] == [375, 400, 475]
    assert fresh.to_send == bytes(80) + content(600)[400:]
    assert [fresh.frame_after(sent) for sent in (0, 80, 100)] == [400, 400, 420]

    machine.follow(iter(()))
    done = punch(machine.line(), content(600), first=400, overlap=25)
    machine.hear(0.05)
    assert (machine.heard, done.sent) == (content(600)[375:], 225)


@pytest.mark.parametrize(
    "wrong", [{"first": 600}, {"first": -1}, {"first": 5, "overlap": 6}, {"rate": 0}]
)
def test_what_does_not_fit_the_frames_is_refused_before_anything_moves(wrong):
    with pytest.raises(NotPossible):
        PunchPlan(**({"frames": content(600), "rate": RATE} | wrong))
