"""ISO 646, the seven-bit code, with or without a parity bit in channel 8.

Source: ECMA-6 (the same set as ISO 646 and ANSI X3.4) for the characters; ECMA-10 and ISO 1113
for the tape: even parity in channel 8. Teleprinters that always or never punch channel 8 (mark
and space parity), and odd parity: common practice, no source. NUL is fill and DEL is a rubbed
out frame, so neither is a character of the content (from memory of ANSI X3.4).
"""

from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from server.tape.codes.base import Characters, Fit, Parity
from server.tape.errors import CannotBuild
from server.tape.image import Frames

NUL, DEL = 0x00, 0x7F
PARITY_CHANNEL = 0x80

_TOLERATED = 0.25
"""The share of frames that may break the best rule before no rule is believed."""

_BYTES = np.arange(256, dtype=np.uint8)
_ODD = (np.bitwise_count(_BYTES) & 1).astype(bool)
_MARKED = (_BYTES & PARITY_CHANNEL).astype(bool)
_CARRIES = ((_BYTES & DEL) != NUL) & ((_BYTES & DEL) != DEL)

_PRINTING = np.array([*b"\t\n\f\r", *range(0x20, 0x7F)])
_PRINTS = np.isin(_BYTES & DEL, _PRINTING)

_BREAKS = {
    # The rule that claims least stands first and wins a tie.
    Parity.SPACE: _MARKED,
    Parity.MARK: ~_MARKED,
    Parity.EVEN: _ODD,
    Parity.ODD: ~_ODD,
}

_WITH_PARITY = {
    Parity.NONE: bytes(range(128)),
    Parity.SPACE: bytes(range(128)),
    Parity.MARK: bytes(character | PARITY_CHANNEL for character in range(128)),
    Parity.EVEN: bytes(
        character | PARITY_CHANNEL * (character.bit_count() & 1) for character in range(128)
    ),
    Parity.ODD: bytes(
        character | PARITY_CHANNEL * (character.bit_count() & 1 ^ 1) for character in range(128)
    ),
}


class Iso646:
    """Seven-bit characters in channels 1 to 7."""

    name: ClassVar[str] = "iso-646"
    title: ClassVar[str] = "ISO 646 (seven bits)"
    source: ClassVar[str] = "ECMA-6, ECMA-10"
    levels: ClassVar[tuple[int, ...]] = (7, 8)
    # Printing characters are 99 of 128, and a rule of parity halves that.
    chance: ClassVar[float] = 0.6
    parities: ClassVar[tuple[Parity, ...]] = (
        Parity.EVEN,
        Parity.ODD,
        Parity.MARK,
        Parity.SPACE,
        Parity.NONE,
    )
    rub_out: ClassVar[int] = 0xFF

    def weigh(self, histogram: NDArray[np.intp], levels: int) -> Fit:
        """How many of the frames print, and how many break the parity that most obey."""
        parity = choose_parity(histogram, levels)
        carriers = int(histogram[_CARRIES].sum())
        return Fit(
            carriers, int(histogram[_PRINTS].sum()), parity, parity_breaks(histogram, parity)
        )

    def read(self, array: Frames, levels: int) -> Characters:
        """The characters on the frames `array`, parity chosen by what most frames obey."""
        carriers = np.bincount(array, minlength=256)
        return self.read_in(array, choose_parity(carriers, levels), self.name)

    @staticmethod
    def read_in(array: Frames, parity: Parity, code: str) -> Characters:
        """The characters on the frames `array`, held to be in `parity`, under the name `code`."""
        kept = np.flatnonzero(_CARRIES[array])
        carriers = array[kept]
        errors = kept[_BREAKS[parity][carriers]] if parity in _BREAKS else kept[:0]
        return Characters(
            code=code,
            text=(carriers & DEL).tobytes(),
            frames=kept.astype(np.int32),
            parity=parity,
            parity_errors=errors.astype(np.int32),
            rub_outs=_rub_outs(array, kept),
        )

    def write(self, characters: bytes, parity: Parity) -> bytes:
        """The frames for `characters`; DEL gives all eight holes in even parity, as punched.

        Raises:
            CannotBuild: one of them is beyond the seven bits.
        """
        for at, character in enumerate(characters):
            if character > DEL:
                raise CannotBuild(
                    f"ISO 646 has no character {character:02X}",
                    frame=at,
                    mend="write the text in seven-bit characters",
                )
        return characters.translate(_WITH_PARITY[parity].ljust(256, b"\0"))


def choose_parity(histogram: NDArray[np.intp], levels: int) -> Parity:
    """The parity rule that the frames counted in `histogram` (256 long) break least."""
    carriers = int(histogram[_CARRIES].sum())
    if levels < 8 or not carriers:
        return Parity.NONE
    broken = {rule: parity_breaks(histogram, rule) for rule in _BREAKS}
    best = min(broken, key=broken.__getitem__)
    return best if broken[best] <= carriers * _TOLERATED else Parity.NONE


def parity_breaks(histogram: NDArray[np.intp], parity: Parity) -> int:
    """How many of the frames counted in `histogram` (256 long) break the rule `parity`."""
    return int(histogram[_BREAKS[parity] & _CARRIES].sum()) if parity in _BREAKS else 0


def _rub_outs(array: Frames, kept: NDArray[np.intp]) -> int:
    if not kept.size:
        return 0
    between = array[kept[0] : kept[-1]]
    return int(np.count_nonzero((between & DEL) == DEL))
