"""Progress and times: what is said while a tape runs, and that it is about right."""

import io

import pytest

from server.station.line_settings import LineSettings
from server.station.progress import Progress, duration
from server.station.punching import PunchPlan, TapePuncher
from server.station.stopping import Stop
from server.tape.estimate import seconds
from tests.station.devices import ScriptedPort


class Terminal(io.StringIO):
    def isatty(self):
        return True


def _run(stream, clock, total, rate, frames):
    progress = Progress(stream, clock, total=total, rate=rate)
    for at in range(frames):
        clock.time += 1 / rate
        progress.at(at + 1)
    progress.end()
    return stream.getvalue()


def test_elsewhere_than_on_a_terminal_a_plain_line_comes_now_and_then(clock):
    # An eighth of a second is a whole number of this clock's units, so ten seconds are 80 frames.
    written = _run(io.StringIO(), clock, 1000, 8, 240)

    assert written.splitlines() == [
        "80 frames, 203.2 mm, 8.0 a second, 1 min 55 s left",
        "160 frames, 406.4 mm, 8.0 a second, 1 min 45 s left",
        "240 frames, 609.6 mm, 8.0 a second, 1 min 35 s left",
    ]
    assert "\r" not in written


def test_on_a_terminal_one_line_is_written_over(clock):
    written = _run(Terminal(), clock, None, 70, 700)

    assert written.count("\r") > 20
    assert written.endswith("\n")
    assert written.count("\n") == 1
    assert "left" not in written
    assert "70.0 a second" in written


def test_a_machine_that_stands_still_is_expected_to_go_on_at_its_rate(clock):
    stream = io.StringIO()
    progress = Progress(stream, clock, total=500, rate=10)
    clock.time += 20
    progress.at(0)

    assert stream.getvalue() == "0 frames, 0.0 mm, 0.0 a second, 50 s left\n"


def test_nothing_is_ended_where_nothing_was_shown(clock):
    stream = Terminal()
    Progress(stream, clock, total=None, rate=10).end()

    assert stream.getvalue() == ""


@pytest.mark.parametrize(
    ("time", "words"),
    [(0, "0 s"), (59.4, "59 s"), (59.6, "1 min 0 s"), (900, "15 min 0 s"), (12000, "3 h 20 min")],
)
def test_times_are_said_in_words(time, words):
    assert duration(time) == words


# Check values of the trade: common practice, no source.

TELEPRINTER = LineSettings(port="a teleprinter").frames_per_second
FAST_READER = 45 * TELEPRINTER
FAST_PUNCH = 70


def test_a_teleprinter_runs_ten_frames_a_second():
    assert TELEPRINTER == 10


def test_an_8k_interpreter_of_15_minutes_at_the_teleprinter_takes_20_seconds_at_a_fast_reader():
    frames = 15 * 60 * TELEPRINTER
    assert seconds(int(frames), FAST_READER) == pytest.approx(20)


def test_a_4k_interpreter_of_seven_and_a_half_minutes_takes_10_to_15_seconds():
    frames = 7.5 * 60 * TELEPRINTER
    assert 10 <= seconds(int(frames), FAST_READER) <= 15


def test_a_punch_of_five_minutes_takes_well_under_one_at_a_fast_punch(clock):
    """Not worked out but run, on a port that a scripted punch empties, in time that is turned."""
    frames = bytes(int(5 * 60 * TELEPRINTER))
    port = ScriptedPort(clock)
    progress = Progress(io.StringIO(), clock, total=None, rate=FAST_PUNCH)
    plan = PunchPlan(frames=frames, rate=FAST_PUNCH)
    begun = clock.now()
    TapePuncher(port.line(), plan, clock=clock, stop=Stop(), progress=progress).punch()

    assert clock.now() - begun == pytest.approx(42.9, abs=0.5)


def test_a_fast_punch_is_over_twice_a_cassette_at_300_baud():
    cassette = LineSettings(port="a cassette", baud=300, stop_bits=2).frames_per_second

    assert cassette == pytest.approx(27.27, abs=0.01)
    assert 2 * cassette < FAST_PUNCH
