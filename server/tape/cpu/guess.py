"""Which processor a program was written for, by how well its code hangs together.

Each processor is tried; what counts is whether the paths through the code stay on defined
instructions, and whether the addresses it jumps to and calls are ones that the tape loads:
random bytes seldom manage either.
"""

from collections.abc import Iterable, Mapping
from functools import cache
from math import exp, log
from typing import NamedTuple

from server.tape.cpu import PROCESSORS
from server.tape.cpu.base import ADDRESS_SPACE, Instruction, Memory, Processor
from server.tape.cpu.descent import descend
from server.tape.cpu.disassembly import entry_points

SURE = 0.5
"""A guess that is less likely than this is not made."""

_DATA = 3.0
_UNDEFINED_COSTS = 3.0
_TORN_COSTS = 3.0
_ELSEWHERE_COSTS = 1.0
_NEAR_WEIGHS = 0.7
_SUPERSET_COSTS = 3.0
_HABIT_WEIGHS = 1.0
"""Judged, in natural-log odds: that memory is data; a path into an undefined code; a target
inside another instruction; a target that the tape does not load (a call to a monitor is no
rarity); a relative branch that stays on the tape; that a program which an older
processor can run was written for the newer one; and whether an instruction is a common one."""

_OLDER = {"z80": "8080"}

_ABSOLUTE_SIZE = 3
"""Only instructions of three bytes name an address that could lie anywhere."""


class Guess(NamedTuple):
    """A processor and how likely (0 to 1) the program is its own, with the reason."""

    processor: str
    likelihood: float
    reason: str


class _Weighed(NamedTuple):
    processor: Processor
    odds: float
    instructions: int
    undefined: int
    inside: int
    elsewhere: int


def guess_processor(
    runs: Mapping[int, bytes], entries: Iterable[int] = (), cell_bytes: int = 1
) -> Guess | None:
    """The likeliest processor for what `runs` load, or None where none is likely enough."""
    memory = Memory(runs, cell_bytes)
    if not any(memory.loaded):
        return None
    candidates = [each for each in PROCESSORS.values() if each.cell_bytes == cell_bytes]
    weighed = [_weigh(memory, each, list(entries)) for each in candidates]
    weighed = [_against_older(each, weighed) for each in weighed]
    best = max(weighed, key=lambda each: each.odds)
    if len(candidates) == 1:
        return Guess(best.processor.name, 1.0, "no other processor here has words of this size")
    # _DATA stands for no processor's: data that hangs together no better than chance.
    likelihood = 1 / sum(exp(min(500.0, odds - best.odds)) for odds in (_DATA, *_odds(weighed)))
    if likelihood < SURE:
        return None
    return Guess(best.processor.name, round(likelihood, 3), _reason(best))


def _against_older(newer: _Weighed, weighed: Iterable[_Weighed]) -> _Weighed:
    for older in weighed:
        if _OLDER.get(newer.processor.name) == older.processor.name and not older.undefined:
            return newer._replace(odds=newer.odds - _SUPERSET_COSTS)
    return newer


def _habit(memory: Memory, processor: Processor, addresses: Iterable[int]) -> int:
    """How many more of the instructions are common ones of the processor than are not."""
    return sum(1 if memory.cells[at] in processor.common else -1 for at in addresses)


def _odds(weighed: Iterable[_Weighed]) -> list[float]:
    return [each.odds for each in weighed]


def _weigh(memory: Memory, processor: Processor, entries: list[int]) -> _Weighed:
    paths = descend(memory, processor, entry_points(memory, processor, entries))
    loaded = sum(memory.loaded)
    near, far = _targets(paths.instructions.values())
    inside = sum(memory.loaded[target] for target in far)
    odds = (
        len(paths.instructions) * log(1 / _defined_share(processor.name))
        + inside * log(ADDRESS_SPACE / loaded)
        + sum(memory.loaded[target] for target in near) * _NEAR_WEIGHS
        - (len(far) - inside) * _ELSEWHERE_COSTS
        - len(paths.undefined) * _UNDEFINED_COSTS
        - len(paths.torn) * _TORN_COSTS
        + _habit(memory, processor, paths.instructions) * _HABIT_WEIGHS
    )
    return _Weighed(
        processor, odds, len(paths.instructions), len(paths.undefined), inside, len(far) - inside
    )


def _targets(instructions: Iterable[Instruction]) -> tuple[list[int], list[int]]:
    """Where instructions go: by a relative branch, and by an address that could be anywhere."""
    near: list[int] = []
    far: list[int] = []
    for each in instructions:
        if each.target is not None:
            (far if each.size >= _ABSOLUTE_SIZE else near).append(each.target)
    return near, far


@cache
def _defined_share(name: str) -> float:
    """The share of the 256 first bytes at which an instruction of that processor may begin."""
    processor = PROCESSORS[name]
    memory = Memory({0: b"".join(bytes((code, 0, 0, 0)) for code in range(256))})
    return sum(processor.decode(memory, 4 * code) is not None for code in range(256)) / 256


def _reason(best: _Weighed) -> str:
    return (
        f"{best.instructions} instructions follow from the entry, {best.undefined} paths end in "
        f"an undefined one; {best.inside} jumps and calls stay on the tape, {best.elsewhere} "
        "leave it"
    )
