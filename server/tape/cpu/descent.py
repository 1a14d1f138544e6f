"""Which cells hold code: every path from the entries followed as the processor would."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from server.tape.cpu.base import ADDRESS_SPACE, Flow, Instruction, Memory, Processor


@dataclass(slots=True)
class Paths:
    """What a descent met.

    `instructions` by address; `undefined` are addresses that a path runs into where no
    instruction stands; `torn` are targets inside another instruction.
    """

    instructions: dict[int, Instruction] = field(default_factory=dict)
    undefined: set[int] = field(default_factory=set)
    torn: set[int] = field(default_factory=set)


def descend(memory: Memory, processor: Processor, entries: Iterable[int]) -> Paths:
    """The instructions that can be reached from `entries` through what the tape loads."""
    paths = Paths()
    inside = bytearray(ADDRESS_SPACE)
    waiting = list(dict.fromkeys(entries))[::-1]
    while waiting:
        waiting.extend(_follow(memory, processor, waiting.pop(), paths, inside))
    return paths


def _follow(
    memory: Memory, processor: Processor, address: int, paths: Paths, inside: bytearray
) -> list[int]:
    """Follow one path to its end or to code already met; returns the branches off it."""
    branches = []
    while address < ADDRESS_SPACE and address not in paths.instructions:
        if not memory.loaded[address]:
            break
        if inside[address]:
            paths.torn.add(address)
            break
        instruction = processor.decode(memory, address)
        if instruction is None:
            paths.undefined.add(address)
            break
        paths.instructions[address] = instruction
        following = address + instruction.size
        inside[address + 1 : following] = b"\1" * (instruction.size - 1)
        if instruction.target is not None:
            branches.append(instruction.target)
        if instruction.flow is Flow.SKIP:
            branches.append(following + 1)
        if instruction.flow in (Flow.JUMP, Flow.END):
            break
        address = following
    return branches
