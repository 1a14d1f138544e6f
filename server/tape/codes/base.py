"""What a character code is: a table that turns frames into characters, and back."""

from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from server.tape.image import Frames


class Parity(StrEnum):
    """The rule that the parity channel of a code follows."""

    EVEN = "even"
    ODD = "odd"
    MARK = "mark"
    SPACE = "space"
    NONE = "none"

    @property
    def detects_flips(self) -> bool:
        """Whether one wrong hole breaks the rule, whichever channel it is in."""
        return self in (Parity.EVEN, Parity.ODD)


@dataclass(frozen=True, slots=True)
class Characters:
    """The characters that a code finds on a tape, fill left out, each with its frame.

    `text` is one byte a character, ISO 646; `frames` (int32) is as long and holds the
    frame of each; `parity_errors` (int32) holds the frames that break `parity`, rising;
    `rub_outs` counts the rubbed-out frames between the first character and the last.
    """

    code: str
    text: bytes
    frames: NDArray[np.int32]
    parity: Parity
    parity_errors: NDArray[np.int32]
    rub_outs: int = 0


class Fit(NamedTuple):
    """How well frames obey a code: of `carriers` that should be characters, `fitting` are.

    `parity_errors` counts those that break `parity`, the rule that most obey.
    """

    carriers: int
    fitting: int
    parity: Parity
    parity_errors: int


class Code(Protocol):
    """A character code; one file in this folder, registered in `server.tape.codes`."""

    name: ClassVar[str]
    title: ClassVar[str]
    source: ClassVar[str]
    levels: ClassVar[tuple[int, ...]]
    chance: ClassVar[float]
    """The share of all frames, judged with caution, that pass for characters in parity; 1 for a
    code in which every frame is one."""
    parities: ClassVar[tuple[Parity, ...]]
    """The rules that it can be written in, the usual one first."""
    rub_out: ClassVar[int]
    """The frame that takes back what stood there."""

    def weigh(self, histogram: NDArray[np.intp], levels: int) -> Fit:
        """How well the frames counted in `histogram` (256 long) obey the code."""
        ...

    def read(self, array: Frames, levels: int) -> Characters:
        """The characters on the frames `array`; never raises, whatever the frames are."""
        ...

    def write(self, characters: bytes, parity: Parity) -> bytes:
        """The frames for `characters`.

        Raises:
            CannotBuild: the code has no frame for one of them.
        """
        ...
