"""ITA2, the five-level telegraph code with letters and figures shift.

Source: ITU-T S.1 (formerly F.1), from memory, checked whole against a library of the registry
in tests/outside; the figures of teleprinters in the United States: from memory. LTRS is also
the rub-out, and a reader starts in letters (common practice, no source). WRU, the figures case
of D, is read as ENQ, its like in ISO 646; the figures of F, G and H are left to national use
and read as SUB, which ISO 646 has for a character that is not known.
"""

from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from server.tape.codes.base import Characters, Fit, Parity
from server.tape.codes.shifted import ShiftTable
from server.tape.image import Frames

_BLANK, _LTRS, _FIGS = 0x00, 0x1F, 0x1B
_LETTERS: Final = "\0E\nA SIU\rDRJNFCKTZLWHYPQOBG\0MXV\0"
_INTERNATIONAL: Final = "\x003\n- '87\r\x054\x07,\x1a:(5+)2\x1a6019?\x1a\0./=\0"
_UNITED_STATES: Final = "\x003\n- \x0787\r$4',!:(5\")2#6019?&\0./;\0"


class Ita2:
    """The international alphabet."""

    name: ClassVar[str] = "ita2"
    title: ClassVar[str] = "ITA2 (five levels)"
    source: ClassVar[str] = "ITU-T S.1"
    levels: ClassVar[tuple[int, ...]] = (5,)
    chance: ClassVar[float] = 1.0
    parities: ClassVar[tuple[Parity, ...]] = (Parity.NONE,)
    rub_out: ClassVar[int] = _LTRS
    table: ClassVar[ShiftTable] = ShiftTable(_LETTERS, _INTERNATIONAL, _LTRS, _FIGS)

    def weigh(self, histogram: NDArray[np.intp], levels: int) -> Fit:
        """Every frame is a character or a shift, so all of them fit."""
        carriers = int(histogram.sum() - histogram[[_BLANK, _LTRS, _FIGS]].sum())
        return Fit(carriers, carriers, Parity.NONE, 0)

    def read(self, array: Frames, levels: int) -> Characters:
        """The characters on the frames `array`, shifted as they say."""
        kept, text = self.table.read(array & np.uint8(_LTRS))
        inside = array[kept[0] : kept[-1]] if kept.size else array[:0]
        rubbed_out = (inside[1:] == _LTRS) & (inside[:-1] == _LTRS)
        return Characters(
            code=self.name,
            text=text,
            frames=kept.astype(np.int32),
            parity=Parity.NONE,
            parity_errors=np.empty(0, np.int32),
            rub_outs=int(np.count_nonzero(rubbed_out)),
        )

    def write(self, characters: bytes, parity: Parity) -> bytes:
        """The frames for `characters`; five levels leave no channel for a parity.

        Raises:
            CannotBuild: the code lacks one of the characters.
        """
        return self.table.write(characters)


class Ita2UnitedStates(Ita2):
    """The same letters with the figures of commercial teleprinters in the United States."""

    name: ClassVar[str] = "ita2-us"
    title: ClassVar[str] = "ITA2 with United States figures (five levels)"
    source: ClassVar[str] = "ITU-T S.1; the figures from memory"
    table: ClassVar[ShiftTable] = ShiftTable(_LETTERS, _UNITED_STATES, _LTRS, _FIGS)
