"""What the tapes of the demo library carry, read from the texts beside this file."""

from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
COMMENT = ";"


@dataclass(frozen=True, slots=True)
class MachineCode:
    """Bytes by the address of the first of each run, and where the program starts, if it does."""

    memory: dict[int, bytes]
    start: int | None


def lines(name: str) -> tuple[str, ...]:
    """The lines of a text or a program listing."""
    return tuple((HERE / name).read_text(encoding="ascii").splitlines())


def machine_code(name: str) -> MachineCode:
    """The bytes of a `.code` file: address, bytes, and beyond two spaces what a person reads.

    Raises:
        ValueError: a line does not begin where the one before it said that it would.
    """
    memory: dict[int, bytes] = {}
    start = None
    first, following = 0, -1
    for line in lines(name):
        if line.startswith(COMMENT) or not line.strip():
            continue
        word, rest = line.split(maxsplit=1)
        if word == "start":
            start = int(rest, 16)
            continue
        address, data = int(word, 16), bytes.fromhex(rest.split("  ")[0])
        if address < following:
            raise ValueError(f"{name}: {address:04X} lies before {following:04X}")
        if address != following:
            first = address
        memory[first] = memory.get(first, b"") + data
        following = address + len(data)
    return MachineCode(memory, start)


def rows(name: str) -> bytes:
    """The frames of a `.rows` file: eight digits a frame, channel 8 first, a hole is a 1."""
    words = (word for line in lines(name) if not line.startswith(COMMENT) for word in line.split())
    return bytes(int(word, 2) for word in words)
