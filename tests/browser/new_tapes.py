"""Tapes that the demonstration does not hold, made of what it holds."""

from typing import Final

from seed_data import make, sources
from server.tape.basic.program import program_from_text
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.image import Image

IMAGES: Final = make.IMAGES

ADDED_LINE: Final = '35 INPUT "ANY NUMBER";S:X=RND(-1-ABS(S))'
"""A prompt for a number, which a negative argument of RND then makes the seed."""


def stirred_dice() -> Image:
    """Dice tally saved again, crunched, after one line was added; held is it listed, as text."""
    listing = "\n".join([*sources.lines("programs/dice-tally-1.bas"), ADDED_LINE])
    return CrunchedBasic().build(program_from_text(listing, "D"))
