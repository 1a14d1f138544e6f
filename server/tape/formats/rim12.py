"""RIM tape of the 12-bit minicomputer: every word behind its own origin, for a keyed-in loader.

Four frames a word: origin high six bits with channel 7, origin low six, word high six, word
low six; channel 8 alone is leader and trailer. No checksum, no fields.
Source: the maker's paper tape system handbook, after a secondary description.
"""

from typing import ClassVar, Final

from server.tape.errors import CannotBuild
from server.tape.formats.base import Decoding, Evidence, Loader
from server.tape.formats.word_decoding import decode_words, no_words
from server.tape.image import Image
from server.tape.material import ENDS, Kind, Material, Pattern, Writing
from server.tape.twelve_bit.frames import (
    MOST_LOOKED_AT,
    ORIGIN,
    SUBSTANTIAL,
    Program,
    may_be,
    tell_apart,
)
from server.tape.twelve_bit.groups import GROUP, groups_of, words_of
from server.tape.twelve_bit.program import DIVIDES, WordProgram, pair
from server.tape.twelve_bit.told import frame_findings, group_findings
from server.tape.view import View

_SURE, _FAIR, _UNSURE = 0.95, 0.85, 0.3
_ENOUGH: Final = 4


class Rim12:
    """Words of twelve bits, each with its address."""

    name: ClassVar[str] = "rim12"
    title: ClassVar[str] = "RIM tape, 12-bit minicomputer"
    source: ClassVar[str] = "paper tape system handbook of the maker (secondary description)"
    takes: ClassVar[tuple[Kind, ...]] = (Kind.WORDS,)
    offers: ClassVar[tuple[Kind, ...]] = (Kind.WORDS,)
    codes: ClassVar[tuple[str, ...]] = ()
    idle: ClassVar[tuple[Pattern, ...]] = (Pattern.CHANNEL_8,)
    wakes: ClassVar[bytes | None] = None
    divides: ClassVar[str] = DIVIDES

    def recognise(self, view: View) -> Evidence | None:
        """How many of the words are just four frames, the first alone with channel 7."""
        if not may_be(view):
            return None
        frameset = tell_apart(view, MOST_LOOKED_AT)
        weighed = [_weigh(each, frameset.share(each)) for each in frameset.programs]
        return max(weighed, key=lambda each: each.confidence, default=None)

    def parse(self, view: View) -> Decoding:
        """The words, in octal, in order of address."""
        frameset = tell_apart(view)
        program = frameset.chosen(_weigh)
        if program is None:
            return no_words(self.name, view, Loader.KEYED_BOOTSTRAP)
        groups = groups_of(program)
        return decode_words(
            self.name,
            program,
            words_of(program, groups),
            [*frame_findings(program, frameset), *group_findings(program, groups)],
            frames_a_word=GROUP,
            loader=Loader.KEYED_BOOTSTRAP,
            closes=None,
        )

    def build(self, content: WordProgram) -> Image:
        """The tape that carries `content`.

        Raises:
            CannotBuild: `content` has words out of bounds, or a comment, which this loader
                would take for words.
        """
        content.check(fields=1)
        if content.comment:
            raise CannotBuild(
                "the keyed-in loader does not skip comments", mend="leave the comment out"
            )
        words = (pair(at, ORIGIN) + pair(word) for at, word in content.words())
        return Image(content.tape(b"".join(words)))

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries the words of `material`."""
        return self.build(WordProgram(material.memory, leader=ENDS, trailer=ENDS))


def _weigh(program: Program, share: float) -> Evidence:
    groups = groups_of(program)
    count = groups.firsts.size
    if not count:
        return Evidence(0.0, "no frame has channel 7 alone of the upper two")
    reason = f"{groups.share:.0%} of {count} origins stand in front of one word each"
    if not program.held or share < SUBSTANTIAL:
        return Evidence(_UNSURE * groups.share, f"{reason}, but leader frames hold little of it")
    sure = _SURE if count >= _ENOUGH else _FAIR if count > 1 else _UNSURE
    before = int(groups.firsts[0]) / len(program)
    if before and int(groups.sizes[-1]) != GROUP:
        return Evidence(_UNSURE, f"{reason}, but none at either end: the tape may lie backwards")
    return Evidence(max(0.0, sure * (groups.share - before)), f"{reason}, in leader frames 200")
