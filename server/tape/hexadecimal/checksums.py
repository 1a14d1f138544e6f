"""How records check themselves: each way of checking is equations that digits must fulfil.

Every checksum here is linear in the hexadecimal digits of its record, so what one digit more,
less or other would change is worked out without trying it.
"""

from dataclasses import dataclass
from typing import ClassVar, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from server.tape.dump import Bytes, Integers

_DIGIT_SUMS: Final = np.array([(byte >> 4) + (byte & 15) for byte in range(256)], np.uint8)


class Check(Protocol):
    """A way of checking a record, whose bytes are those after its mark, checksums included."""

    modulus: ClassVar[int]

    def passing(self, raw: Bytes, at: Integers, sizes: Integers) -> NDArray[np.bool_]:
        """Which records pass: each has `sizes` bytes, one at least, from `at` on in `raw`."""
        ...

    def holds(self, data: bytes) -> bool:
        """Whether the record with the bytes `data` passes."""
        ...

    def fault(self, data: bytes) -> str:
        """What is wrong with the record with the bytes `data`, which does not pass."""
        ...

    def rows(self, size: int) -> Integers:
        """What each digit of a record of `size` bytes weighs in each equation.

        The weights of a row, each times its digit, sum to its `target` modulo `modulus`.
        """
        ...

    @property
    def target(self) -> int:
        """What each row sums to."""
        ...


def _by_byte(size: int) -> Integers:
    return np.tile(np.array([16, 1]), size)


@dataclass(frozen=True, slots=True)
class ByteSum:
    """One byte at the end, with which all bytes sum to `target` modulo 256."""

    target: int
    modulus: ClassVar[int] = 256

    def passing(self, raw: Bytes, at: Integers, sizes: Integers) -> NDArray[np.bool_]:
        """Which records sum to the target."""
        sums: NDArray[np.bool_] = np.add.reduceat(raw, at, dtype=np.uint8) == self.target
        return sums

    def holds(self, data: bytes) -> bool:
        """Whether the bytes sum to the target."""
        return sum(data) & 0xFF == self.target

    def fault(self, data: bytes) -> str:
        """The checksum that stands there, and the one that is due."""
        due = self.target - sum(data[:-1]) & 0xFF
        return f"has the checksum {data[-1]:02X} where its bytes call for {due:02X}"

    def rows(self, size: int) -> Integers:
        """One row: the bytes as they are."""
        return _by_byte(size)[np.newaxis]


@dataclass(frozen=True, slots=True)
class WordSum:
    """Two bytes at the end: the sum of the bytes before them, high byte first.

    A record of no data may repeat its address field there instead: some descriptions of the
    record that ends a tape say so.
    """

    target: ClassVar[int] = 0
    modulus: ClassVar[int] = 1 << 16

    def passing(self, raw: Bytes, at: Integers, sizes: Integers) -> NDArray[np.bool_]:
        """Which records end in their sum, or repeat their address."""
        last = at + sizes - 1
        high, low = raw[last - 1].astype(np.uint16), raw[last]
        sums = np.add.reduceat(raw, at, dtype=np.uint16) - high - low
        # A record has five bytes at least.
        repeats = (raw[at] == 0) & (raw[at + 1] == high) & (raw[at + 2] == low)
        passes: NDArray[np.bool_] = (sums == (high << np.uint16(8) | low)) | repeats
        return passes

    def holds(self, data: bytes) -> bool:
        """Whether the last two bytes are the sum of the others, or repeat the address."""
        return data[-2:] == self._sum(data) or (data[0] == 0 and data[1:3] == data[-2:])

    def fault(self, data: bytes) -> str:
        """The sum that stands there, and the one that is due."""
        said, due = data[-2:].hex().upper(), self._sum(data).hex().upper()
        return f"has the checksum {said} where its bytes call for {due}"

    def rows(self, size: int) -> Integers:
        """One row: the bytes, less what their sum is said to be."""
        weights = _by_byte(size)
        weights[-4:] = -4096, -256, -16, -1
        return weights[np.newaxis]

    @staticmethod
    def _sum(data: bytes) -> bytes:
        return (sum(data[:-2]) & 0xFFFF).to_bytes(2, "big")


@dataclass(frozen=True, slots=True)
class DigitSums:
    """Two checksums: the digits of the first three bytes in the fourth, those of the data last.

    A record of no data has the first alone.
    """

    target: ClassVar[int] = 0
    modulus: ClassVar[int] = 256
    _HEAD: ClassVar[int] = 3

    def passing(self, raw: Bytes, at: Integers, sizes: Integers) -> NDArray[np.bool_]:
        """Which records pass both checksums."""
        last = at + sizes - 1
        digits = _DIGIT_SUMS[raw]
        # A record has four bytes at least; sums of bytes wrap at 256, as the checksums do.
        head = digits[at] + digits[at + 1] + digits[at + 2]
        first = raw[at + 3]
        body = np.add.reduceat(digits, at, dtype=np.uint8) - head - digits[at + 3] - digits[last]
        passes: NDArray[np.bool_] = (head == first) & ((sizes == 4) | (body == raw[last]))
        return passes

    def holds(self, data: bytes) -> bool:
        """Whether both checksums, or the one of a record of no data, are right."""
        return all(said == due for _, said, due in self._checks(data))

    def fault(self, data: bytes) -> str:
        """Each wrong checksum that stands there, and what is due."""
        return " and ".join(
            f"has the {name} checksum {said:02X} where its digits call for {due:02X}"
            for name, said, due in self._checks(data)
            if said != due
        )

    def rows(self, size: int) -> Integers:
        """A row for the head, and one for the data if there are any."""
        head, data = np.zeros((2, 2 * size), np.int64)
        head[:8] = 1, 1, 1, 1, 1, 1, -16, -1
        if size == self._HEAD + 1:
            return head[np.newaxis]
        data[8:] = 1
        data[-2:] = -16, -1
        return np.stack([head, data])

    def _checks(self, data: bytes) -> list[tuple[str, int, int]]:
        """Each checksum: its name, what it says, and what it should say."""
        digits = [int(_DIGIT_SUMS[byte]) for byte in data]
        checks = [("head", data[self._HEAD], sum(digits[: self._HEAD]) & 0xFF)]
        body = digits[self._HEAD + 1 :]
        return [*checks, ("data", data[-1], sum(body[:-1]) & 0xFF)] if body else checks
