"""Blocks: what one is, and how a text falls into them.

Source: ISO 6983, from memory. A block is words, each a letter and a signed number. N gives the
number of the block, and a colon in its place a block that a search may begin at; a stroke before
it lets the operator skip it; round brackets enclose what the control does not read; % stops the
rewinding of the tape and begins the program. Spaces and tabs between words carry nothing. The
number that may follow a stroke or % is of later controls (common practice, no source).
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import accumulate
from typing import Final, NamedTuple

MOST_BLOCKS: Final = 120_000
"""Blocks that are read; the longest roll has as many frames, and a block takes one at least."""

MOST_CHARACTERS: Final = 1 << 20
"""Characters that are read: more than eight of the longest rolls."""

_NUMBER = rb"[+-]?(?:\d++(?:\.\d*+)?+|\.\d++)"
WORD: Final = re.compile(rb"([A-Z])[ \t]*(%s)" % _NUMBER)
END: Final = re.compile(rb"M(?:0?2|30|99)(?!\d)")
"""End of program, end of tape (ISO 6983, from memory), and end of a subprogram (common practice,
no source)."""

_PERCENT = ord("%")
_COMMENT = re.compile(rb"\([^()]*\)?")
_FILL = rb"(?:[ \t]|\([^()]*\))*+"
_WORDS = rb"(?:[A-Z][ \t]*+%s%s)*+" % (_NUMBER, _FILL)
_BLOCK = re.compile(
    rb"%s(/\d?%s)?+(?:[N:][ \t]*+(\d{1,9})(?!\d)%s|:%s)?+%s" % (_FILL, _FILL, _FILL, _FILL, _WORDS)
)
_START = re.compile(rb"[ \t]*%[ \tA-Z0-9.-]*(?:\([^()]*\)[ \t]*)?")


class Block(NamedTuple):
    """A block, in capitals and without its end; it reaches from character `start` to `stop`.

    `start` and `stop` count in the text that the block is of, and the end of the block lies
    between them.
    """

    text: bytes
    start: int
    stop: int
    fault: int
    """Where in `text` the first thing stands that is no word; -1 if it is all words."""
    number: int | None
    skipped: bool
    """Whether the operator may have it skipped."""
    begins: bool
    """Whether it is the rewind stop, which begins a program."""

    @property
    def blank(self) -> bool:
        """Whether nothing stands in it."""
        return not self.text.strip()

    @property
    def whole(self) -> bool:
        """Whether it is made of words, and of nothing else."""
        return self.fault < 0

    @property
    def sound(self) -> bytes:
        """As much of it, from its beginning, as is words."""
        return self.text if self.whole else self.text[: self.fault]

    @property
    def bare(self) -> bytes:
        """What the control reads of it: brackets and what they enclose left out."""
        return _COMMENT.sub(b"", self.text) if b"(" in self.text else self.text

    @property
    def ends(self) -> bool:
        """Whether it ends a program."""
        return b"M" in self.text and END.search(self.bare) is not None


# Most of the time goes into making blocks, and this is twice as quick as calling Block.
_made: Final[Callable[[tuple[bytes, int, int, int, int | None, bool, bool]], Block]] = partial(
    tuple.__new__, Block
)


def blocks_of(text: bytes) -> list[Block]:
    """The blocks of `text`, blank ones too; no more than `MOST_BLOCKS` of the first characters.

    Line feed ends a block, and carriage return is passed over; where there is no line feed at
    all, carriage return ends a block.
    """
    text = text[:MOST_CHARACTERS].upper()
    end = b"\n" if b"\n" in text else b"\r"
    pieces = text.split(end, MOST_BLOCKS)[:MOST_BLOCKS]
    stops = list(accumulate(len(piece) + 1 for piece in pieces))
    # What follows the last end is a block only if there is something in it.
    stops[-1] = min(stops[-1], len(text))
    starts = [0, *stops[:-1]]
    blocks = [
        _block(piece.strip(b"\r"), start, stop)
        for piece, start, stop in zip(pieces, starts, stops, strict=True)
    ]
    return blocks[:-1] if blocks[-1].blank else blocks


def _block(text: bytes, start: int, stop: int) -> Block:
    found = _BLOCK.match(text)
    assert found is not None, "the pattern matches an empty block too"
    skip, number = found.groups()
    fault = found.end()
    if fault == len(text):
        value = None if number is None else int(number)
        return _made((text, start, stop, -1, value, skip is not None, False))
    begins = text[fault] == _PERCENT and _START.fullmatch(text) is not None
    return _made((text, start, stop, -1 if begins else fault, None, False, begins))


@dataclass(frozen=True)
class Program:
    """Blocks that make up one program, and the title that may stand before its start."""

    blocks: Sequence[Block]

    @cached_property
    def start(self) -> int:
        """Which of the blocks begins the program: the first % if there is one."""
        return next((at for at, block in enumerate(self.blocks) if block.begins), 0)

    @property
    def title(self) -> list[Block]:
        """What stands before the program, and is for people to read."""
        return [block for block in self.blocks[: self.start] if not block.blank]

    @cached_property
    def filled(self) -> list[Block]:
        """The blocks of the program in which something stands."""
        return [block for block in self.blocks[self.start :] if not block.blank]

    @cached_property
    def bare(self) -> bytes:
        """What the control reads of them, one block a line."""
        return b"\n".join(block.bare for block in self.filled)

    @property
    def stop(self) -> int:
        """The character after the last of the program."""
        return self.blocks[-1].stop if self.blocks else 0


def first_program(blocks: Sequence[Block]) -> Program:
    """The program that begins `blocks`; what is of another kind after its end is left out."""
    program = Program(blocks)
    ends = [
        at
        for at, block in enumerate(blocks[program.start + 1 :], program.start + 2)
        if block.ends or block.begins
    ]
    rest = [block for block in blocks[ends[-1] :] if not block.blank] if ends else []
    strange = sum(1 for block in rest if not block.whole)
    return Program(blocks[: ends[-1]]) if 2 * strange > len(rest) else program
