"""Where code without an address was meant to run: the page at which its own jumps fit best."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.tape.cpu import PROCESSORS
from server.tape.cpu.base import Processor

PAGE: Final = 0x100
"""Programs begin on a page (common practice, no source)."""

_MOST_JUMPS: Final = 512

_JUMPS: Final = {
    # The first bytes of jumps and calls that name a whole address, by far the commonest ones.
    "8080": (bytes.fromhex("C3 CD C2 CA D2 DA"), "<u2"),
    "z80": (bytes.fromhex("C3 CD C2 CA D2 DA"), "<u2"),
    "6502": (bytes.fromhex("20 4C"), "<u2"),
    "6800": (bytes.fromhex("BD 7E"), ">u2"),
}


class Placed(NamedTuple):
    """The processor whose habits `code` shows most, and where its jumps say that it ran.

    `habit` is the share of bytes that are common instructions of that processor.
    """

    processor: str
    base: int
    habit: float


def place_code(code: NDArray[np.uint8]) -> Placed:
    """For which processor `code`, not empty, looks as if written, and for which address."""
    shares = {name: _habit(code, PROCESSORS[name]) for name in _JUMPS}
    name = max(shares, key=lambda each: shares[each])
    return Placed(name, _base(code, PROCESSORS[name]), shares[name])


def _common(processor: Processor) -> NDArray[np.bool_]:
    table = np.zeros(256, np.bool_)
    table[list(processor.common)] = True
    return table


def _habit(code: NDArray[np.uint8], processor: Processor) -> float:
    return float(_common(processor)[code].mean())


def _base(code: NDArray[np.uint8], processor: Processor) -> int:
    """The page from which most targets of jumps lie in `code`, on common instructions."""
    firsts, order = _JUMPS[processor.name]
    at = np.flatnonzero(np.isin(code[:-2], list(firsts)))[:_MOST_JUMPS]
    if not at.size:
        return 0
    words = np.stack([code[at + 1], code[at + 2]], axis=1).copy()
    targets = words.view(order).ravel().astype(np.int64)
    bases = np.arange(0, 0x10000, PAGE)
    places = targets - bases[:, np.newaxis]
    inside = (places >= 0) & (places < code.size)
    common = _common(processor)[code[np.where(inside, places, 0)]]
    scores = np.where(inside, np.where(common, 2, 0), -1).sum(axis=1)
    return int(bases[np.argmax(scores)])
