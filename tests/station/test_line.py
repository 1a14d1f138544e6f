"""The line: how it is set, what it costs in time, and what is said when it cannot be opened."""

import errno
import os

import pytest
import serial

from server.station.control import asks_for_hold
from server.station.errors import LineLost, NotPossible, PortUnusable
from server.station.line import open_line
from server.station.line_settings import Flow, LineParity, LineSettings
from server.station.marks import Fault, FaultKind, Unmarker


def _settings(**given):
    return LineSettings(**({"port": "/dev/ttyUSB0"} | given))


@pytest.mark.parametrize(
    ("given", "bits", "rate"),
    [
        ({}, 11, 10.0),
        ({"baud": 300, "stop_bits": 2}, 11, 27.2727),
        ({"baud": 300}, 10, 30.0),
        ({"baud": 9600, "parity": LineParity.EVEN, "data_bits": 7}, 10, 960.0),
        ({"baud": 50, "data_bits": 5, "stop_bits": 1.5}, 7.5, 6.6667),
    ],
)
def test_a_frame_takes_its_bits_and_the_line_carries_so_many_a_second(given, bits, rate):
    # Arithmetic on start-stop characters. 110 baud with two stop bits and ten frames a second, and
    # 6 to 7 a second of five-level teleprinters: common practice, no source.
    assert _settings(**given).bits_per_frame == bits
    assert _settings(**given).frames_per_second == pytest.approx(rate, abs=0.0001)


@pytest.mark.parametrize("wrong", [{"baud": 0}, {"data_bits": 9}, {"stop_bits": 3.0}])
def test_a_line_that_cannot_be_is_refused(wrong):
    with pytest.raises(NotPossible):
        _settings(**wrong)


def test_a_port_that_is_missing_is_told_apart_from_one_that_is_none(tmp_path):
    with pytest.raises(PortUnusable, match="There is no port"):
        open_line(_settings(port=str(tmp_path / "ttyUSB9")))
    (tmp_path / "file").touch()
    with pytest.raises(PortUnusable, match="is no serial port"):
        open_line(_settings(port=str(tmp_path / "file")))


def test_a_port_that_is_in_use_is_said_to_be(machine):
    opened = machine.line()
    with pytest.raises(PortUnusable, match="is in use"):
        machine.line()
    opened.close()

    machine.line().close()


def test_a_port_that_is_forbidden_names_the_group_to_ask_for(monkeypatch, tmp_path):
    def refuse(*_, **__):
        raise serial.SerialException(errno.EACCES, "could not open port: Permission denied")

    monkeypatch.setattr(serial, "Serial", refuse)
    (tmp_path / "port").touch()
    with pytest.raises(PortUnusable, match="You may not use") as refused:
        open_line(_settings(port=str(tmp_path / "port")))
    assert "into the group " in refused.value.mend
    with pytest.raises(PortUnusable) as refused:
        open_line(_settings(port=str(tmp_path / "gone")))
    assert "that owns it" in refused.value.mend


def test_a_setting_that_the_port_does_not_have_is_said(monkeypatch):
    def refuse(*_, **__):
        raise ValueError("Invalid baud rate: 12345678")

    monkeypatch.setattr(serial, "Serial", refuse)
    with pytest.raises(PortUnusable, match="cannot be set so: Invalid baud rate"):
        open_line(_settings())


def test_what_is_asked_of_pyserial_is_what_was_set(monkeypatch):
    """A pty has eight bits, no parity and no wires; so here is looked at what is asked for."""
    asked: dict[str, object] = {}

    def note(port, **given):
        asked.update(given, port=port)
        raise serial.SerialException(errno.ENOENT, "none")

    monkeypatch.setattr(serial, "Serial", note)
    with pytest.raises(PortUnusable):
        open_line(
            _settings(baud=300, data_bits=7, parity=LineParity.MARK, stop_bits=2, flow=Flow.RTS_CTS)
        )
    assert (asked["baudrate"], asked["bytesize"], asked["stopbits"]) == (300, serial.SEVENBITS, 2)
    assert (asked["parity"], asked["rtscts"]) == (serial.PARITY_MARK, True)
    assert asked["exclusive"]
    # Or the driver would take DC1 and DC3 off the tape.
    assert not asked.get("xonxoff")


def test_a_machine_that_is_gone_is_a_lost_line_whatever_is_asked(machine):
    opened = machine.line()
    machine.hang_up()

    for ask in (opened.receive, opened.waiting, opened.unsent, lambda: opened.send(b"A")):
        with pytest.raises(LineLost, match="failed"):
            ask()


def test_a_port_that_takes_no_more_is_not_waited_for(machine):
    opened = machine.line()
    sent = 0
    while taken := opened.send(bytes(4000)):
        sent += taken

    assert sent > 0
    machine.hear(0.05)
    assert len(machine.heard) == sent


def test_frames_of_every_value_come_through_a_real_terminal_driver(machine):
    opened = machine.line()
    every = bytes(range(256)) + b"\xff\xff\x00\x00\xff"
    machine.send(every)

    received = opened.receive()
    assert received == (every, ())


def test_marks_are_taken_out_wherever_a_piece_of_them_ends():
    # FF 00 X for a damaged X, FF 00 00 for a break, FF FF for FF: POSIX.1, PARMRK, from memory.
    marked = b"A\xff\x00B\xff\xff\xff\x00\x00C\xff\xff"
    expected = b"AB\xff\0C\xff"
    faults = (Fault(1, FaultKind.DAMAGED), Fault(3, FaultKind.BREAK))

    for cut in range(len(marked) + 1):
        unmarker = Unmarker()
        first, early = unmarker.take(marked[:cut])
        rest, late = unmarker.take(marked[cut:])
        assert (first + rest, early + late) == (expected, faults)


def test_an_ff_that_begins_no_mark_is_kept():
    assert Unmarker().take(b"\xffA\xff\xff") == (b"\xffA\xff", ())


@pytest.mark.parametrize(
    ("received", "hold"),
    [
        (b"\x13", True), (b"\x11", False), (b"\x93", True), (b"\x91", False), (b"", None),
        (b"abc", None), (b"\x13\x11", False), (b"\x11\x13x", True),
    ],
)  # fmt: skip
def test_dc3_holds_and_dc1_frees_in_any_parity(received, hold):
    # DC1 and DC3 in ECMA-6 columns and rows 1/1 and 1/3; with the parity hole of channel 8 too.
    assert asks_for_hold(received) is hold


def test_ports_of_the_machine_are_named_when_one_is_missing():
    with pytest.raises(PortUnusable) as refused:
        open_line(_settings(port="/dev/ttyNOWHERE"))

    assert "the ports here are " in refused.value.mend
    assert os.linesep not in refused.value.mend
