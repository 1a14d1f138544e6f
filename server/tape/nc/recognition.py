"""In which code a tape is a program of numerical control, and how sure that is.

Prose, listings and hexadecimal records fail by the grammar of blocks, and so does a program read
from behind or from the other side: a number without a letter before it is no word.
"""

import re
from collections.abc import Iterator
from typing import Final, NamedTuple

from server.tape.codes import CODES
from server.tape.codes.base import Fit, Parity
from server.tape.nc.blocks import WORD, Program, blocks_of
from server.tape.view import View

CLEAN, MOSTLY, HALF, MENTIONED = 0.985, 0.98, 0.972, 0.1
"""Blocks are text too, and text is at most 0.97 sure of it: where the frames fall into words
that a control reads, that is the better explanation, on a damaged tape as well."""

_CLEAN_SHARE, _MOSTLY_SHARE, _HALF_SHARE = 0.98, 0.75, 0.5
_FEWEST_WORDS = 4
_SAMPLE = 8192
_SAMPLE_BLOCKS = 400
_FITTING = 0.85
_BREAKING = 0.2
_TELLING = re.compile(rb"[NGM]\d")


class Weighed(NamedTuple):
    """A code, how sure it is (0 to 1) that the tape is a program in it, and why, in words."""

    code: str
    confidence: float
    reason: str


def surest(view: View) -> Weighed | None:
    """The code in which `view` is likeliest a program, if any."""
    found = [_weigh(view, code) for code in _codes(view)]
    return max((each for each in found if each), key=lambda each: each.confidence, default=None)


def _codes(view: View) -> Iterator[str]:
    """The codes that most frames of `view` obey."""
    for name in _CODES:
        code = CODES[name]
        if view.image.levels not in code.levels:
            continue
        fit = code.weigh(view.histogram, view.image.levels)
        if _obeys(fit, view.image.levels):
            yield name
            if name == _STRICTEST:
                # What fits the subset fits ISO 646, and that would say less.
                return


_STRICTEST: Final = "iso-840"
_CODES: Final = (_STRICTEST, "rs-244", "iso-646")


def _obeys(fit: Fit, levels: int) -> bool:
    if not fit.carriers or (fit.parity is Parity.NONE and levels == 8):
        return False
    return fit.fitting >= _FITTING * fit.carriers and fit.parity_errors <= _BREAKING * fit.carriers


def _weigh(view: View, code: str) -> Weighed | None:
    start, stop = view.data
    frames = view.array[start : min(stop, start + _SAMPLE)]
    text = CODES[code].read(frames, view.image.levels).text
    blocks = blocks_of(text)[:_SAMPLE_BLOCKS]
    if len(frames) == _SAMPLE and len(blocks) > 1:
        # A block that the sample cuts off says nothing against the tape.
        blocks = blocks[:-1]
    program = Program(blocks)
    whole = [block for block in program.filled if block.whole]
    words = sum(len(WORD.findall(block.sound)) for block in program.filled)
    telling = sum(1 for block in whole if block.begins or _TELLING.search(block.text))
    share = len(whole) / max(len(program.filled), 1)
    reason = (
        f"{len(whole)} of the first {len(program.filled)} blocks are made of words, "
        f"{words} in all, in {code}"
    )
    if 2 * telling < len(whole) or share < _HALF_SHARE:
        return Weighed(code, MENTIONED, f"{reason}; that is too few") if words else None
    if words < _FEWEST_WORDS:
        return Weighed(code, MENTIONED, f"{reason}; so few may be chance")
    return Weighed(code, _confidence(share), reason)


def _confidence(share: float) -> float:
    if share >= _CLEAN_SHARE:
        return CLEAN
    return MOSTLY if share >= _MOSTLY_SHARE else HALF
