"""BIN tape of the 12-bit minicomputer: words behind a common origin, and a checksum.

Two frames a word, six bits each: with channel 7 in the first an origin, without it a word,
loaded at the next address. Channel 8 alone is leader and trailer, channels 8 and 7 with the low
three clear set the field; what stands between two rub-outs is skipped. The last word before
the trailer is the sum modulo 10000 octal of all origin and data frames as 8-bit numbers, so a
loader holds each word back until it sees the next (the checksum rule is from memory). Octal
throughout; addresses of field 1 begin at 10000.
Source: the maker's paper tape system handbook; a secondary description for channels 7 and 8,
fields and comments.
"""

from collections.abc import Iterator
from typing import ClassVar, Final

import numpy as np

from server.tape.formats.base import Decoding, Evidence, Loader
from server.tape.formats.word_decoding import decode_words, no_words
from server.tape.image import Image
from server.tape.material import ENDS, Kind, Material, Pattern, Writing
from server.tape.self_checking import Checker
from server.tape.twelve_bit.checked import checked_programs
from server.tape.twelve_bit.frames import (
    FIELD,
    MOST_LOOKED_AT,
    ORIGIN,
    SUBSTANTIAL,
    Program,
    may_be,
    tell_apart,
)
from server.tape.twelve_bit.groups import GROUP, groups_of
from server.tape.twelve_bit.loads import FIELD_WORDS
from server.tape.twelve_bit.pairs import Body, body_of, words_of
from server.tape.twelve_bit.program import DIVIDES, WordProgram, pair
from server.tape.twelve_bit.told import frame_findings, pair_findings
from server.tape.view import View

_CLOSES, _CLOSES_WITHOUT_LEADER, _CLOSES_DAMAGED = 0.995, 0.9, 0.99
_BETWEEN_LEADERS, _AT_A_LEADER, _SHAPE_ONLY, _OTHER = 0.94, 0.6, 0.2, 0.05
_ENOUGH: Final = 4
_NO_CHANCE: Final = 16
_SOME: Final = 0.3
_FIELDS: Final = 8


class Bin12:
    """Words of twelve bits in sequence from an origin, checked by their sum."""

    name: ClassVar[str] = "bin12"
    title: ClassVar[str] = "BIN tape, 12-bit minicomputer"
    source: ClassVar[str] = (
        "paper tape system handbook of the maker (secondary description; checksum rule from memory)"
    )
    takes: ClassVar[tuple[Kind, ...]] = (Kind.WORDS,)
    offers: ClassVar[tuple[Kind, ...]] = (Kind.WORDS,)
    codes: ClassVar[tuple[str, ...]] = ()
    idle: ClassVar[tuple[Pattern, ...]] = (Pattern.CHANNEL_8,)
    wakes: ClassVar[bytes | None] = None
    divides: ClassVar[str] = DIVIDES

    def recognise(self, view: View) -> Evidence | None:
        """Whether frames pair up behind origins, and whether a checksum closes."""
        if not may_be(view):
            return None
        frameset = tell_apart(view, MOST_LOOKED_AT)
        weighed = [_weigh(each, body_of(each), frameset.share(each)) for each in frameset.programs]
        return max(weighed, key=lambda each: each.confidence, default=None)

    def parse(self, view: View) -> Decoding:
        """The words of the first program, in octal, in order of address."""
        frameset = tell_apart(view)
        bodies: dict[int, Body] = {}

        def weigh(program: Program, share: float) -> Evidence:
            body = bodies[id(program)] = body_of(program)
            return _weigh(program, body, share)

        program = frameset.chosen(weigh)
        if program is None:
            return no_words(self.name, view, Loader.CHECKSUM_LOADER)
        body = bodies[id(program)]
        words, unplaced = words_of(program, body)
        return decode_words(
            self.name,
            program,
            words,
            [*frame_findings(program, frameset), *pair_findings(program, body, unplaced)],
            frames_a_word=2,
            loader=Loader.CHECKSUM_LOADER,
            closes=body.closes,
        )

    def checker(self, view: View) -> Checker:
        """What tells the programs whose sum comes out."""
        return checked_programs

    def build(self, content: WordProgram) -> Image:
        """The tape that carries `content`.

        Raises:
            CannotBuild: `content` has words, addresses or a comment out of bounds.
        """
        content.check(fields=_FIELDS)
        frames = b"".join(_pieces(content))
        # Field settings, the only frames with channel 8, are not summed.
        total = sum(frame for frame in frames if frame < FIELD)
        return Image(content.tape(frames + pair(total % FIELD_WORDS)))

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries the words of `material`."""
        return self.build(WordProgram(material.memory, leader=ENDS, trailer=ENDS))


def _pieces(content: WordProgram) -> Iterator[bytes]:
    due, field = -1, 0
    for at, word in content.words():
        if at != due or at % FIELD_WORDS == 0:
            if at // FIELD_WORDS != field:
                field = at // FIELD_WORDS
                yield bytes([FIELD | field << 3])
            yield pair(at % FIELD_WORDS, ORIGIN)
        yield pair(word)
        due = at + 1


def _weigh(program: Program, body: Body, share: float) -> Evidence:
    if not program.begins_with_origin or len(program) < GROUP:
        return Evidence(_OTHER, "the first frames are no origin")
    odd = (body.lone.size + int(np.count_nonzero(program.flawed))) / len(program)
    # A few frames, leader before and after, may close among many others by chance.
    if body.closes and (share >= SUBSTANTIAL or len(program) >= _NO_CHANCE):
        reason = f"the checksum of {body.size} frames closes"
        if not program.held:
            return Evidence(
                _CLOSES_WITHOUT_LEADER * max(0.0, 1 - 8 * odd), f"{reason}, without leader frames"
            )
        return Evidence(_CLOSES_DAMAGED * max(0.0, 1 - 2 * odd) if odd else _CLOSES, reason)
    return _without_checksum(program, odd, share, body.firsts.size)


def _without_checksum(program: Program, odd: float, share: float, pairs: int) -> Evidence:
    groups = groups_of(program)
    if groups.share > _SOME and groups.firsts.size > 1:
        return Evidence(_OTHER, "each word has an origin of its own, and no checksum closes")
    reason = f"{pairs} pairs of frames stand as origins and words do; the checksum does not close"
    if pairs < _ENOUGH or not program.held or share < SUBSTANTIAL:
        return Evidence(_SHAPE_ONLY, reason)
    sure = _BETWEEN_LEADERS if min(program.led) > 1 else _AT_A_LEADER
    return Evidence(max(0.0, sure * (1 - 4 * odd)), f"{reason}; leader frames 200 hold them")
