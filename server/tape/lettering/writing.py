"""Letters punched: the frames of a text to be read by eye."""

from typing import Final

from server.tape.errors import CannotBuild
from server.tape.image import Image, Orientation
from server.tape.lettering import alphabets
from server.tape.lettering.drawings import DRAWINGS

_BETWEEN_LETTERS: Final = bytes(1)
_BETWEEN_WORDS: Final = bytes(5)

APART: Final = 9
"""Blank frames that must stand on both sides of letters, for them to be known as such."""


def letter_frames(
    text: str, *, levels: int = 8, upside_down: bool = False, alphabet: str = "5x7"
) -> bytes:
    """The frames that show `text`, its small letters as capitals, in the alphabet of that name.

    The first letter comes first. The tops lie at the highest channel or, `upside_down`, at
    channel 1: the text is then read from the other face of the tape. No blank frames stand
    around it; it needs `APART` of them.

    Raises:
        CannotBuild: there is no such alphabet, the tape is too narrow for it, it lacks a
            character of the text, or the text has none.
    """
    if alphabet not in DRAWINGS:
        raise CannotBuild(
            f"there is no alphabet {alphabet}", mend=f"choose one of {', '.join(DRAWINGS)}"
        )
    letters = alphabets.alphabet(alphabet)
    if letters.height > levels:
        raise CannotBuild(
            f"letters {letters.height} holes high do not fit on a tape of {levels} levels",
            mend="choose a lower alphabet",
        )
    words = _words(text, letters)
    upright = _BETWEEN_WORDS.join(map(_BETWEEN_LETTERS.join, words))
    raised = bytes(column << levels - letters.height for column in upright)
    way = Orientation.MIRRORED if upside_down else Orientation.AS_READ
    return Image(raised, levels).turned(way).frames


def _words(text: str, letters: alphabets.Alphabet) -> list[list[bytes]]:
    """The columns of each letter of each word."""
    drawn = {glyph.character: bytes(glyph.columns) for glyph in reversed(letters.glyphs)}
    words = text.upper().split()
    lacking = sorted(set("".join(words)) - set(drawn))
    if lacking:
        raise CannotBuild(
            f"the alphabet has no {' '.join(lacking)}",
            mend=f"write the text with {''.join(sorted(drawn))}",
        )
    if not words:
        raise CannotBuild("the text has no characters", mend="give at least one letter")
    return [[drawn[character] for character in word] for word in words]
