"""ITA2 against its table, and against a library of the registry.

Sources, named beside each check:
    ITU-T S.1 (formerly F.1), from memory: the table below, typed again from it. The figures of F,
    G and H are left to national use there.
    Figures of commercial teleprinters in the United States, from memory.
    baudot, a Python library: its tables of ITA2 and of the United States.
Where the library differs, the test says how and why.
"""

import numpy as np
import pytest
from baudot.codecs import ITA2_STANDARD, ITA2_US
from baudot.codecs.ita2_baudot_murray import Figures, Letters

from server.tape.codes import CODES
from server.tape.codes.base import Parity

NATIONAL = "\x1a"
"""What ours gives where the standard leaves the figure to national use: SUB of ISO 646."""

SILENT = {0x00: "blank", 0x1B: "figures shift", 0x1F: "letters shift"}
TABLE = {
    # frame: letters, figures
    0x01: "E3",
    0x02: "\n\n",
    0x03: "A-",
    0x04: "  ",
    0x05: "S'",
    0x06: "I8",
    0x07: "U7",
    0x08: "\r\r",
    0x09: "D\x05",
    0x0A: "R4",
    0x0B: "J\x07",
    0x0C: "N,",
    0x0D: "F" + NATIONAL,
    0x0E: "C:",
    0x0F: "K(",
    0x10: "T5",
    0x11: "Z+",
    0x12: "L)",
    0x13: "W2",
    0x14: "H" + NATIONAL,
    0x15: "Y6",
    0x16: "P0",
    0x17: "Q1",
    0x18: "O9",
    0x19: "B?",
    0x1A: "G" + NATIONAL,
    0x1C: "M.",
    0x1D: "X/",
    0x1E: "V=",
}
UNITED_STATES = {
    0x05: "\x07",
    0x09: "$",
    0x0B: "'",
    0x0D: "!",
    0x11: '"',
    0x14: "#",
    0x1A: "&",
    0x1E: ";",
}
"""The figures that differ; from memory."""

LIBRARY_NATIONAL = {0x0D: "!", 0x14: "£", 0x1A: "&"}
"""What the library puts where the standard leaves the choice: the figures of the United Kingdom
(from memory). Ours says that it does not know, since a tape may be from anywhere."""


def read(code: str, *frames: int) -> str:
    return CODES[code].read(np.array(frames, np.uint8), 5).text.decode("ascii")


class TestTheTable:
    """ITU-T S.1, from memory."""

    @pytest.mark.parametrize("frame", range(32))
    def test_every_frame_in_letters_and_in_figures(self, frame):
        letters, figures = ("", "") if frame in SILENT else tuple(TABLE[frame])

        assert read("ita2", 0x1F, frame) == letters
        assert read("ita2", 0x1B, frame) == figures

    @pytest.mark.parametrize("frame", range(32))
    def test_every_frame_with_the_figures_of_the_united_states(self, frame):
        letters, figures = ("", "") if frame in SILENT else tuple(TABLE[frame])

        assert read("ita2-us", 0x1F, frame) == letters
        assert read("ita2-us", 0x1B, frame) == UNITED_STATES.get(frame, figures)

    def test_worked_example(self):
        """RUN 10 CR LF; computed from the table. The first frame makes sure of letters."""
        frames = bytes.fromhex("0A 07 0C 04 1B 17 16 08 02")

        assert read("ita2", *frames) == "RUN 10\r\n"
        assert CODES["ita2"].write(b"RUN 10\r\n", Parity.NONE) == b"\x1f" + frames


@pytest.mark.parametrize("frame", sorted(TABLE))
class TestTheLibrary:
    """baudot."""

    def test_its_letters_are_ours(self, frame):
        assert ITA2_STANDARD.decode(frame, Letters) == read("ita2", 0x1F, frame)
        assert ITA2_US.decode(frame, Letters) == read("ita2-us", 0x1F, frame)

    def test_its_figures_are_ours_but_for_those_of_national_use(self, frame):
        theirs, ours = ITA2_STANDARD.decode(frame, Figures), read("ita2", 0x1B, frame)

        assert (theirs, ours) == (LIBRARY_NATIONAL.get(frame, ours), TABLE[frame][1])

    def test_its_figures_of_the_united_states_are_ours(self, frame):
        assert ITA2_US.decode(frame, Figures) == read("ita2-us", 0x1B, frame)


def test_the_library_gives_blank_as_a_character_and_ours_as_none():
    """ISO 646 has NUL for it; on a tape it is feed, and no character of the content."""
    assert ITA2_STANDARD.decode(0, Letters) == "\0"
    assert read("ita2", 0) == ""


@pytest.mark.parametrize("frame", [0x1B, 0x1F])
def test_both_shift_by_the_same_frames(frame):
    shift = {0x1B: Figures, 0x1F: Letters}[frame]
    assert ITA2_STANDARD.decode(frame, Letters) == ITA2_STANDARD.decode(frame, Figures) == shift
