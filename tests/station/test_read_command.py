"""`read` and `send` as they are typed, over a real pty, to an archive really served.

Nothing here is told by the clock: passes end by trailer or by what is sent.
"""

import hashlib
import os
import signal
import subprocess
import sys
import time

import pytest

from server.catalog import condition, running
from server.catalog.condition_values import NewReport
from server.catalog.vocabulary import Condition, Handling
from server.cli import main
from server.commands.at_the_machine import BROKEN_OFF, STOPPED, WAITS
from server.commands.console import DONE, REFUSED, UNUSABLE
from server.station.control import DC3
from server.store.engine import make_engine
from tests import factories
from tests.station.devices import LONGEST_WAIT
from tests.station.machines import Reader
from tests.station.reels import content, tape

FRAMES = tape(1500)


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


def test_a_tape_may_be_fed_again_from_its_very_start_however_long_the_leader(reader, reel, said):
    _read(reader(FRAMES[:900], Reader.hang_up), reel)

    assert _read(reader(bytes(400) + FRAMES), reel, "--resume") == DONE
    assert "fed again from frame -400: 900 frames overlap" in said().out
    assert FRAMES.startswith(reel.read_bytes())
    assert content(1500) in reel.read_bytes()


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


def test_a_tape_that_must_not_be_run_is_not_read_without_an_archivists_word(
    reader, reel, at_archive, sqlite_settings, said
):
    engine = make_engine(sqlite_settings)
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.4")
        condition.log(work, NewReport(
            tape="1978.4", checked_on=work.now.date(), state=Condition.WORN,
            handling=Handling.DO_NOT_RUN,
        ))  # fmt: skip
    for more in ((), ("--no-send",), ("--unasked",)):
        words = ["read", os.devnull, str(reel), "--tape", "1978.4", *more]
        assert main(words) == UNUSABLE
        told = said().err
        assert "Do not run this tape" in told
        assert "archivist" in told
        assert not list(reel.parent.glob("reel*"))

    with factories.acting(engine) as work:
        running.permit(work, "1978.4", "By hand, by two.")
    assert _read(reader(FRAMES), reel, "--tape", "1978.4") == DONE
    assert "is used up now" in said().out
    engine.dispose()


def test_where_nobody_can_be_asked_a_named_tape_is_read_only_if_somebody_says_so(
    reader, reel, closed_port, outbox, said
):
    away = ("--archive", closed_port, "--tape", "1978.4")
    assert main(["read", os.devnull, str(reel), *away]) == UNUSABLE
    assert "--unasked" in said().err
    assert not list(reel.parent.glob("reel*"))

    assert _read(reader(FRAMES), reel, *away, "--unasked") == WAITS
    assert "Nobody could be asked" in said().err
