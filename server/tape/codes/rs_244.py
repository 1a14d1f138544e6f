"""EIA RS-244-B, the code of numerical control: odd parity over the frame, its hole in channel 5.

Source: EIA RS-244-B, from memory; digits, letters A to G and most signs agree with two
secondary listings. The rewind-stop code 0B: from memory. The brackets 1A and 4A are additions
of control makers, from one machine's manual, and differ between machines. End of block
(channel 8 alone) is read as a line feed, rewind stop as %, and a frame that is in no table as
SUB, which ISO 646 has for a character that is not known.
"""

from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from server.tape.codes.base import Characters, Fit, Parity
from server.tape.errors import CannotBuild
from server.tape.image import Frames

_TABLE: Final = """
01 1  02 2  04 4  07 7  08 8  0B %  0E &  13 3  15 5  16 6  19 9  1A (  20 0  23 t  25 v  26 w
29 z  31 /  32 s  34 u  37 x  38 y  3B ,  40 -  43 l  45 n  46 o  49 r  4A )  51 j  52 k  54 m
57 p  58 q  61 a  62 b  64 d  67 g  68 h  6B .  70 +  73 c  75 e  76 f  79 i
"""
_CONTROLS: Final = {0x10: " ", 0x2A: "\b", 0x3E: "\t", 0x80: "\n"}
_SHIFTS: Final = (0x7A, 0x7C)
_BLANK, _DELETE, _UNKNOWN = 0x00, 0x7F, 0x1A


def _characters() -> dict[int, str]:
    entries = _TABLE.split()
    pairs = zip(entries[::2], entries[1::2], strict=True)
    return {int(frame, 16): character for frame, character in pairs} | _CONTROLS


_CHARACTERS: Final = _characters()
_FRAMES: Final = {character: frame for frame, character in _CHARACTERS.items()}
_IN_ISO_646: Final = np.array(
    [ord(_CHARACTERS.get(frame, chr(_UNKNOWN))) for frame in range(256)], np.uint8
)
_EVEN: Final = np.bitwise_count(np.arange(256, dtype=np.uint8)) % 2 == 0
_CARRIES: Final = ~np.isin(np.arange(256), [_BLANK, _DELETE, *_SHIFTS])
_DEFINED: Final = np.isin(np.arange(256), list(_CHARACTERS))


class Rs244:
    """Digits, small letters and signs; the shifts of typewriters carry nothing."""

    name: ClassVar[str] = "rs-244"
    title: ClassVar[str] = "EIA RS-244-B (numerical control)"
    source: ClassVar[str] = "EIA RS-244-B"
    levels: ClassVar[tuple[int, ...]] = (8,)
    chance: ClassVar[float] = 0.4
    parities: ClassVar[tuple[Parity, ...]] = (Parity.ODD,)
    rub_out: ClassVar[int] = _DELETE

    def weigh(self, histogram: NDArray[np.intp], levels: int) -> Fit:
        """How many of the frames are in the table, and how many have an even number of holes."""
        return Fit(
            int(histogram[_CARRIES].sum()),
            int(histogram[_DEFINED].sum()),
            Parity.ODD,
            int(histogram[_CARRIES & _EVEN].sum()),
        )

    def read(self, array: Frames, levels: int) -> Characters:
        """The characters on the frames `array`, in small letters."""
        kept = np.flatnonzero(_CARRIES[array])
        carriers = array[kept]
        inside = array[kept[0] : kept[-1]] if kept.size else array[:0]
        return Characters(
            code=self.name,
            text=_IN_ISO_646[carriers].tobytes(),
            frames=kept.astype(np.int32),
            parity=Parity.ODD,
            parity_errors=kept[_EVEN[carriers]].astype(np.int32),
            rub_outs=int(np.count_nonzero(inside == _DELETE)),
        )

    def write(self, characters: bytes, parity: Parity) -> bytes:
        """The frames for `characters`, capitals as small letters; the code sets its own parity.

        Raises:
            CannotBuild: the code lacks one of the characters.
        """
        text = characters.decode("latin-1").lower()
        for at, character in enumerate(text):
            if character not in _FRAMES:
                raise CannotBuild(
                    f"EIA RS-244-B has no character {character!r}",
                    frame=at,
                    mend="write it with digits, letters and the signs & % ( ) / , - . +",
                )
        return bytes(_FRAMES[character] for character in text)
