"""BASIC without its line numbers: what is left of a program when its lines are numbered anew.

A line keeps its statements; each number that a jump names becomes '#', and which line it means
is told apart. Which words a line number follows: GOTO, GOSUB, THEN and ON (ECMA-55, from
memory); ELSE, RUN and RESTORE in later dialects (common practice, no source).
"""

import hashlib
import re
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

from server.tape.normal_form import without_number

Keys = Sequence[int | None]

MARK = "#"
"""What stands for the number of a line that is jumped to."""

_JUMP = re.compile(
    r'"[^"]*"?'
    r"|(?:^|(?<=:)|(?<=THEN))REM.*"
    r'|(?:^|(?<=:))DATA(?:"[^"]*"?|[^:"])*'
    r"|(?P<word>GOTO|GOSUB|THEN|ELSE|RUN|RESTORE)(?P<numbers>\d+(?:,\d+)*)"
)
_MAY_JUMP = re.compile(r"(?:O|B|N|E)\d|,\d")
"""A quick look: no line without a letter that ends such a word before a digit has a jump."""


class NumberFree(NamedTuple):
    """The statements of each line, jumps marked, and the numbers that each line jumps to."""

    bodies: list[str]
    targets: list[tuple[int, ...]]


def number_free(lines: Sequence[str], keys: Keys) -> NumberFree:
    """`lines`, in normal form, without their numbers."""
    result = NumberFree([], [])
    for line, key in zip(lines, keys, strict=True):
        told: list[int] = []
        body = line if key is None else with_targets(without_number(line, key), told.append)
        result.bodies.append(body)
        result.targets.append(tuple(told))
    return result


def with_targets(body: str, target: Callable[[int], object]) -> str:
    """The statements of a line, each number jumped to replaced by what `target` makes of it.

    Where that is None, by '#'.
    """

    def replaced(match: re.Match[str]) -> str:
        if match["word"] is None:
            return match[0]
        numbers = (target(int(number)) for number in match["numbers"].split(","))
        return match["word"] + ",".join(MARK if each is None else str(each) for each in numbers)

    return _JUMP.sub(replaced, body) if _MAY_JUMP.search(body) else body


def digest(lines: Sequence[str], keys: Keys) -> bytes:
    """Eight bytes that are the same for two programs that differ in their numbering alone."""
    free = number_free(lines, keys)
    places = {key: at for at, key in reversed(list(enumerate(keys))) if key is not None}
    told = (
        f"{body}\0{[places.get(target, f'no {target}') for target in targets] if targets else ''}\n"
        for body, targets in zip(*free, strict=True)
    )
    return hashlib.blake2b("".join(told).encode(), digest_size=8).digest()


_TELLING = 3
"""So many numbers in a row, all below so many before them, begin another program."""

_MOST_PROGRAMS = 16


def programs(keys: Keys) -> list[tuple[int, int]]:
    """Where each program of a reel begins and ends: numbering starts again from below.

    One misread number starts none. A reel of more than 16 programs is taken as one.
    """
    known = [at for at, key in enumerate(keys) if key is not None]
    numbers = [keys[at] or 0 for at in known]
    starts = [
        known[at]
        for at in range(_TELLING, len(known) - _TELLING + 1)
        if numbers[at] <= numbers[at - 1]
        and max(numbers[at : at + _TELLING]) < min(numbers[at - _TELLING : at])
    ]
    edges = [0, *starts, len(keys)]
    return list(pairwise(edges)) if len(edges) <= _MOST_PROGRAMS + 1 else [(0, len(keys))]
