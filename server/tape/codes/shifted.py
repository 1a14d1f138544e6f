"""Codes with two cases: a shift frame says which column of the table the next frames are in."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.errors import CannotBuild
from server.tape.image import Frames

NOTHING: Final = "\0"
"""In a column: the frame carries no character."""


@dataclass(frozen=True, slots=True)
class ShiftTable:
    """Two columns of 32 ISO 646 characters, and the frames that shift to each."""

    letters: str
    figures: str
    to_letters: int
    to_figures: int

    def read(self, array: Frames) -> tuple[NDArray[np.intp], bytes]:
        """The frames that carry a character, and the characters; it starts in letters.

        `array` holds frames of five levels.
        """
        if not array.size:
            return np.empty(0, np.intp), b""
        shifts = (array == self.to_letters) | (array == self.to_figures)
        last_shift = np.maximum.accumulate(np.where(shifts, np.arange(array.size), -1))
        in_figures = (last_shift >= 0) & (array[last_shift] == self.to_figures)
        columns = np.frombuffer((self.letters + self.figures).encode("ascii"), np.uint8)
        characters = columns[array + np.uint8(32) * in_figures]
        kept = np.flatnonzero(characters != ord(NOTHING))
        return kept, characters[kept].tobytes()

    def write(self, text: bytes) -> bytes:
        """The frames for `text`: a shift at the beginning and wherever the case changes.

        Raises:
            CannotBuild: neither column has one of the characters.
        """
        frames = bytearray([self.to_letters])
        column = self.letters
        for at, character in enumerate(text.decode("latin-1")):
            if character == NOTHING or character not in self.letters + self.figures:
                raise CannotBuild(
                    f"a five-level code has no character {character!r}",
                    frame=at,
                    mend="leave it out or write it in words; there are no small letters",
                )
            if character not in column:
                column = self.figures if column is self.letters else self.letters
                frames.append(self.to_figures if column is self.figures else self.to_letters)
            frames.append(column.index(character))
        return bytes(frames)
