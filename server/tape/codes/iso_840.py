"""ISO 840, the subset of ISO 646 for numerical control, even parity in channel 8.

Source: ISO 840 and EIA RS-358-B, from memory; the comma and the point are of later practice,
from memory. Line feed ends a block, % is the rewind stop and the program's beginning.
"""

from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from server.tape.codes.base import Characters, Fit, Parity
from server.tape.codes.iso_646 import DEL, Iso646, parity_breaks
from server.tape.errors import CannotBuild
from server.tape.image import Frames

REPERTOIRE: Final = b"\b\t\n\r %()+,-./0123456789:ABCDEFGHIJKLMNOPQRSTUVWXYZ"

_SEVEN_BIT: Final = np.arange(256) & DEL
_FITS: Final = np.isin(_SEVEN_BIT, list(REPERTOIRE))
_CARRIES: Final = (_SEVEN_BIT != 0) & (_SEVEN_BIT != DEL)
_WHOLE: Final = Iso646()


class Iso840:
    """Digits, capitals and signs, each with an even number of holes."""

    name: ClassVar[str] = "iso-840"
    title: ClassVar[str] = "ISO 840 (numerical control)"
    source: ClassVar[str] = "ISO 840, EIA RS-358-B"
    levels: ClassVar[tuple[int, ...]] = (8,)
    chance: ClassVar[float] = 0.4
    parities: ClassVar[tuple[Parity, ...]] = (Parity.EVEN,)
    rub_out: ClassVar[int] = 0xFF

    def weigh(self, histogram: NDArray[np.intp], levels: int) -> Fit:
        """How many of the frames are in the subset, and how many have an odd number of holes."""
        return Fit(
            int(histogram[_CARRIES].sum()),
            int(histogram[_FITS].sum()),
            Parity.EVEN,
            parity_breaks(histogram, Parity.EVEN),
        )

    def read(self, array: Frames, levels: int) -> Characters:
        """The characters on the frames `array`, those outside the subset too."""
        return _WHOLE.read_in(array, Parity.EVEN, self.name)

    def write(self, characters: bytes, parity: Parity) -> bytes:
        """The frames for `characters`, in even parity whatever is asked for.

        Raises:
            CannotBuild: a character is outside the subset.
        """
        for at, character in enumerate(characters):
            if character not in REPERTOIRE:
                raise CannotBuild(
                    f"ISO 840 has no character {chr(character)!r}",
                    frame=at,
                    mend="write it with digits, capitals and the signs % ( ) + , - . / :",
                )
        return _WHOLE.write(characters, Parity.EVEN)
