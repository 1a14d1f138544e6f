"""What a command says of a pass that did not go smoothly, on a port that a test scripts."""

import json
import os
import signal

import httpx
import pytest

from server.cli import main
from server.commands import punch as punch_command
from server.commands import read as read_command
from server.commands.at_the_machine import BROKEN_OFF, WAITS
from server.commands.console import DONE
from server.station.stopping import Stop
from tests.station.devices import LOST, ScriptedPort
from tests.station.reels import content, tape

FRAMES = tape(1500)


@pytest.fixture
def scripted(clock, monkeypatch):
    """The port that the next command opens."""

    def put(*arriving: bytes) -> ScriptedPort:
        port = ScriptedPort(clock, arriving)
        monkeypatch.setattr(read_command, "open_line", lambda _: port.line(marked=True))
        monkeypatch.setattr(punch_command, "open_line", lambda _: port.line())
        return port

    return put


def test_damaged_frames_are_said_with_their_place_and_kept_in_the_outbox(
    scripted, reel, outbox, closed_port, said
):
    # A driver marks a damaged frame X as FF 00 X (POSIX.1, PARMRK, from memory).
    scripted(b"AB\xff\x00C", b"\xff\x00\x00D" + bytes(200))

    assert main(["read", "scripted", str(reel), "--archive", closed_port]) == WAITS
    told = said()
    assert "frame 2 (5.1 mm): parity or framing error; kept as it came" in told.out
    assert "frame 3 (7.6 mm): break, or a damaged frame of no holes" in told.out
    (waiting,) = outbox.glob("*.json")
    assert json.loads(waiting.read_bytes())["line_faults"] == [2, 3]
    assert reel.read_bytes() == b"ABC\0D" + bytes(200)


def test_of_many_damaged_frames_the_first_are_named_and_the_rest_are_counted(scripted, reel, said):
    scripted(b"\xff\x00A" * 30 + bytes(200))

    assert main(["read", "scripted", str(reel)]) == DONE
    out = said().out
    assert out.count("kept as it came") == 20
    assert "and 10 more damaged frames" in out


def test_a_line_that_goes_quiet_midway_is_said_to_be_no_end(scripted, reel, said):
    scripted(content(300))

    assert main(["read", "scripted", str(reel), "--quiet", "0.05"]) == BROKEN_OFF
    assert "no end of a tape" in said().err
    assert reel.with_name("reel.bin.part").read_bytes() == content(300)


def test_frames_on_which_two_passes_differ_are_named(scripted, reel, said):
    scripted(FRAMES[:899] + bytes([FRAMES[899] ^ 0x40]))
    main(["read", "scripted", str(reel), "--quiet", "0.05"])
    said()
    scripted(FRAMES[700:])

    assert main(["read", "scripted", str(reel), "--resume"]) == DONE
    assert "frame 899 (2,283.5 mm): the passes differ" in said().out


def test_a_part_that_joins_nothing_is_left_and_said(scripted, reel, said):
    reel.with_name("reel.bin.part").write_bytes(FRAMES)
    other = reel.with_name("reel.bin.part-2")
    other.write_bytes(b"rubbish" * 20)

    assert main(["read", "scripted", str(reel), "--finish"]) == DONE
    assert f"{other} joined nothing" in said().err
    assert reel.read_bytes() == FRAMES
    assert other.exists()


def test_a_port_that_fails_with_frames_under_way_gives_a_range(scripted, reel, said, monkeypatch):
    reel.write_bytes(FRAMES)
    port = scripted()
    port.arriving = [b"echo"]

    def write(data: bytes, /) -> int:
        port.queue += data
        if len(port.queue) >= 50:
            port.broken = LOST
        return len(data)

    monkeypatch.setattr(port, "write", write)
    assert main(["punch", "scripted", str(reel), "--baud", "9600", "--yes"]) == BROKEN_OFF
    told = said()
    assert "0 of 1,820 frames have gone out" in told.out
    assert "4 bytes that mean nothing here" in told.out
    assert "more may have gone" in told.err


@pytest.fixture
def interruptible():
    """Ctrl-C as a terminal has it; a run in the background is started without."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("interruptible")
def test_a_second_ctrl_c_stops_at_once():
    with Stop() as stop:
        os.kill(os.getpid(), signal.SIGINT)
        assert stop.asked
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_a_token_that_goes_out_as_plain_text_is_warned_of(
    scripted, reel, outbox, said, monkeypatch
):
    def away(*_, **__):
        raise httpx.ConnectError("nobody there")

    monkeypatch.setattr(httpx, "request", away)
    monkeypatch.setenv("FEEDHOLE_ARCHIVE", "http://archive.example")
    monkeypatch.setenv("FEEDHOLE_TOKEN", "a-secret-token")
    scripted(content(20) + bytes(200))

    assert main(["read", "scripted", str(reel)]) == WAITS
    told = said()
    assert "plain text" in told.err
    assert "a-secret-token" not in told.out + told.err
