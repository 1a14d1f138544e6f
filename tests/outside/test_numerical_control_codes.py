"""The codes of numerical control against their tables, and blocks against worked examples.

Sources, named beside each check:
    EIA RS-244-B, from memory; two secondary listings agree on the digits, the letters A to G and
    most signs. The rewind stop 0B: from memory (one secondary listing gives 5B). The brackets 1A
    and 4A: one machine's manual. TAB is 3E here: the 33 of one secondary listing has an even
    number of holes, against the code's own rule.
    ISO 840 and EIA RS-358-B, from memory; the comma and the point are of later practice, from
    memory.
    ISO 6983, from memory: what a block is.
The tables below were typed again from these, not taken from the code.
"""

import re

import numpy as np
import pytest

from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.codes.iso_840 import REPERTOIRE
from server.tape.findings import CheckStatus
from server.tape.formats.nc_program import NcProgram
from server.tape.image import Image
from server.tape.view import View

RS_244 = """
01 1  02 2  13 3  04 4  15 5  16 6  07 7  08 8  19 9  20 0
61 a  62 b  73 c  64 d  75 e  76 f  67 g  68 h  79 i
51 j  52 k  43 l  54 m  45 n  46 o  57 p  58 q  49 r
32 s  23 t  34 u  25 v  26 w  37 x  38 y  29 z
70 +  40 -  31 /  6B .  3B ,  0E &  0B %  1A (  4A )
"""
RS_244_CONTROLS = {0x10: " ", 0x3E: "\t", 0x2A: "\b", 0x80: "\n"}
RS_244_SILENT = {0x00: "blank", 0x7F: "delete", 0x7A: "lower case", 0x7C: "upper case"}
"""EIA RS-244-B, from memory; 0B, 1A, 4A and 3E as the head of this file says."""

ISO_840 = """
28 (  A9 )  2B +  AC ,  2D -  2E .  AF /  A5 %
30 0  B1 1  B2 2  33 3  B4 4  35 5  36 6  B7 7  B8 8  39 9  3A :
41 A  42 B  C3 C  44 D  C5 E  C6 F  47 G  48 H  C9 I  CA J  4B K  CC L  4D M
4E N  CF O  50 P  D1 Q  D2 R  53 S  D4 T  55 U  56 V  D7 W  D8 X  59 Y  5A Z
"""
ISO_840_CONTROLS = {0x88: "\b", 0x09: "\t", 0x0A: "\n", 0x8D: "\r", 0xA0: " "}
"""ISO 840 and EIA RS-358-B, from memory; the hexadecimal numbers include the parity hole."""


def table(typed: str, controls: dict[int, str]) -> dict[int, str]:
    entries = typed.split()
    shown = {int(frame, 16): sign for frame, sign in zip(entries[::2], entries[1::2], strict=True)}
    return shown | controls


RS_244_TABLE, ISO_840_TABLE = table(RS_244, RS_244_CONTROLS), table(ISO_840, ISO_840_CONTROLS)


def read(code: str, frames: bytes) -> str:
    return CODES[code].read(np.frombuffer(frames, np.uint8), 8).text.decode("ascii")


class TestRs244:
    """EIA RS-244-B, from memory, with two secondary listings."""

    @pytest.mark.parametrize("frame", range(256))
    def test_every_frame_is_what_the_table_says(self, frame):
        if frame in RS_244_SILENT:
            assert read("rs-244", bytes([frame])) == ""
        else:
            assert read("rs-244", bytes([frame])) == RS_244_TABLE.get(frame, "\x1a")

    def test_the_table_has_each_digit_and_letter_once(self):
        signs = list(RS_244_TABLE.values())
        assert len(signs) == len(set(signs)) == 10 + 26 + 9 + 4

    @pytest.mark.parametrize("frame", [*RS_244_TABLE, *list(RS_244_SILENT)[1:]])
    def test_every_frame_has_an_odd_number_of_holes(self, frame):
        assert frame.bit_count() % 2 == 1

    @pytest.mark.parametrize("frame", RS_244_TABLE)
    def test_channel_5_is_the_one_that_makes_the_number_odd(self, frame):
        found = CODES["rs-244"].read(np.array([frame, frame ^ 0x10], np.uint8), 8)
        assert 1 in found.parity_errors.tolist() or frame == 0x10
        assert 0 not in found.parity_errors.tolist()

    @pytest.mark.parametrize(("frame", "sign"), RS_244_TABLE.items())
    def test_every_sign_is_written_as_the_table_says(self, frame, sign):
        assert CODES["rs-244"].write(sign.encode(), Parity.ODD) == bytes([frame])

    def test_worked_example(self):
        """n10 g01 x EOB; computed from the table."""
        frames = bytes.fromhex("45 01 20 10 67 20 01 10 37 80")
        assert read("rs-244", frames) == "n10 g01 x\n"
        assert CODES["rs-244"].write(b"n10 g01 x\n", Parity.ODD) == frames


class TestIso840:
    """ISO 840 and EIA RS-358-B, from memory."""

    @pytest.mark.parametrize(("frame", "sign"), ISO_840_TABLE.items())
    def test_every_frame_is_what_the_table_says(self, frame, sign):
        assert read("iso-840", bytes([frame])) == sign
        assert CODES["iso-840"].write(sign.encode(), Parity.EVEN) == bytes([frame])

    def test_the_table_is_whole(self):
        assert set(ISO_840_TABLE.values()) == {chr(sign) for sign in REPERTOIRE}
        assert read("iso-840", b"\x00\xff") == ""

    @pytest.mark.parametrize("frame", ISO_840_TABLE)
    def test_every_frame_has_an_even_number_of_holes_by_channel_8(self, frame):
        assert frame.bit_count() % 2 == 0
        found = CODES["iso-840"].read(np.array([frame, frame ^ 0x80], np.uint8), 8)
        assert found.parity_errors.tolist() == [1]

    def test_worked_example(self):
        """N10G01 LF; computed from the table."""
        frames = bytes.fromhex("4E B1 30 47 30 B1 0A")
        assert read("iso-840", frames) == "N10G01\n"
        assert CODES["iso-840"].write(b"N10G01\n", Parity.EVEN) == frames


class TestBlocks:
    """ISO 6983, from memory: the same blocks in both codes."""

    @pytest.mark.parametrize(
        "frames",
        [
            "0B 80 45 01 20 67 20 01 37 07 80 54 13 20 80",
            "A5 0A 4E B1 30 47 30 B1 D8 B7 0A 4D 33 30 0A",
        ],
    )
    def test_the_first_frames_of_a_program_make_blocks(self, frames):
        text = bytes.fromhex(frames)
        decoding = NcProgram().parse(View(Image(text)))

        assert [line.text for line in decoding.listing] == ["%", "N10G01X7", "M30"]
        assert [line.key for line in decoding.listing] == [None, 10, None]
        assert decoding.check_status is CheckStatus.SOUND

    # The number of a block, N, is whole.
    @pytest.mark.parametrize("letter", "ABCDEFGHIJKLMOPQRSTUVWXYZ")
    @pytest.mark.parametrize("number", ["5", "+5", "-5", "1.5", ".5", "005"])
    def test_a_word_is_a_letter_and_a_signed_number(self, letter, number):
        text = f"G01\n{letter}{number}\nM30\n"
        decoding = NcProgram().parse(
            View(Image(CODES["iso-840"].write(text.encode(), Parity.EVEN)))
        )

        assert not [each for each in decoding.findings if "block" in each.kind]
        assert re.fullmatch(r"[A-Z][+-]?[\d.]+", decoding.listing.lines[1].text)
