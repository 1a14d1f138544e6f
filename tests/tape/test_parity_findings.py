"""Parity errors become findings: placed, worded, bounded."""

from dataclasses import replace

import numpy as np
import pytest

from server.tape.codes.base import Characters, Parity
from server.tape.codes.iso_646 import Iso646
from server.tape.findings import Finding, Severity
from server.tape.image import Image, Orientation
from server.tape.parity_findings import FIRST_ERRORS, parity_findings

TEXT = b"10 PRINT 42\r\n"


def read(frames: bytes) -> Characters:
    return Iso646().read(np.frombuffer(frames, np.uint8), 8)


def findings_of(frames: bytes) -> list[Finding]:
    return parity_findings(read(frames), np.frombuffer(frames, np.uint8))


def with_flip(parity: Parity, frame: int, channel_bit: int) -> bytes:
    frames = bytearray(Iso646().write(TEXT * 4, parity))
    frames[frame] ^= channel_bit
    return bytes(frames)


def test_a_clean_tape_has_no_parity_findings():
    assert findings_of(Iso646().write(TEXT, Parity.EVEN)) == []


def test_an_error_names_its_frame_both_distances_the_rule_and_the_holes():
    frames = with_flip(Parity.EVEN, 3, 0x01)
    (finding,) = findings_of(frames)
    assert (finding.kind, finding.frame, finding.frames) == ("parity-error", 3, 1)
    # 'P' is 50 with even parity 50 (ECMA-6, ECMA-10); channel 1 flipped makes 51.
    assert finding.message == "frame 3 (7.62 mm, 0.3 in): the holes 51 break even parity"
    assert "read the tape again" in finding.advice


@pytest.mark.parametrize("parity", [Parity.EVEN, Parity.ODD])
@pytest.mark.parametrize("channel", range(8))
def test_even_and_odd_parity_find_damage_in_every_channel(parity, channel):
    frames = with_flip(parity, 5, 1 << channel)
    (finding,) = findings_of(frames)
    assert finding.severity is Severity.DAMAGE
    assert f"holes {frames[5]:02X} break {parity.value} parity" in finding.message


@pytest.mark.parametrize("parity", [Parity.MARK, Parity.SPACE])
def test_mark_and_space_parity_only_warn(parity):
    frames = with_flip(parity, 5, 0x80)
    (finding,) = findings_of(frames)
    assert finding.severity is Severity.WARNING
    assert f"holes {frames[5]:02X}" in finding.message


def test_errors_beyond_the_bound_share_one_finding():
    frames = bytearray(Iso646().write(b"AC" * 1000, Parity.EVEN))
    for frame in range(0, 1200, 4):
        frames[frame] ^= 0x80
    findings = findings_of(bytes(frames))
    rest = findings[-1]
    assert len(findings) == FIRST_ERRORS + 1
    assert (rest.frame, rest.frames) == (800, 1196 + 1 - 800)
    assert "100 more frames, of 397, break even parity" in rest.message


def test_a_tape_of_noise_gives_a_bounded_number_of_findings():
    noise = np.random.default_rng(1).integers(0, 256, 1_000_000, dtype=np.uint8)
    errors = np.flatnonzero(np.bitwise_count(noise) & 1).astype(np.int32)
    characters = replace(read(b"A"), parity=Parity.EVEN, parity_errors=errors)

    assert len(parity_findings(characters, noise)) == FIRST_ERRORS + 1


def test_the_place_in_the_message_follows_the_finding_onto_a_tape_read_backwards():
    image = Image(with_flip(Parity.EVEN, 3, 0x01)[::-1])
    (finding,) = findings_of(image.turned(Orientation.REVERSED).frames)
    turned = finding.as_read(image, Orientation.REVERSED)
    assert turned.frame == len(image) - 1 - 3
    assert turned.message.startswith("frame 48 (121.92 mm, 4.8 in): ")
