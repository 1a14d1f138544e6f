"""BASIC without its line numbers: what is left of a program when its lines are numbered anew.

A line keeps its statements; each number that a jump names becomes '#', and which line it means
is told apart. Which words a line number follows: GOTO, GOSUB, THEN and ON (ECMA-55, from
memory); ELSE, RUN and RESTORE in later dialects (common practice, no source).
"""

import hashlib
import re
from collections.abc import Callable, Sequence
from itertools import pairwise

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


def without_number(line: str, key: int | None) -> str:
    """A line in normal form without the number that it begins with, if it has one."""
    return line if key is None else line.removeprefix(f"{key} ")


def bodies_of(lines: Sequence[str], keys: Keys) -> list[str]:
    """`lines`, in normal form, without their numbers and those that they jump to."""
    may_jump = _MAY_JUMP.search
    bodies = []
    for line, key in zip(lines, keys, strict=True):
        if key is None:
            bodies.append(line)
            continue
        body = without_number(line, key)
        bodies.append(_JUMP.sub(_marked, body) if may_jump(body) else body)
    return bodies


def _marked(match: re.Match[str]) -> str:
    word = match["word"]
    if word is None:
        return match[0]
    return word + ",".join(MARK for _ in match["numbers"].split(","))


def targets_of(line: str, key: int | None) -> tuple[int, ...]:
    """The numbers that a line jumps to."""
    told: list[int] = []
    if key is not None:
        with_targets(without_number(line, key), told.append)
    return tuple(told)


def with_targets(body: str, target: Callable[[int], object]) -> str:
    """The statements of a line, each number jumped to replaced by what `target` makes of it."""

    def replaced(match: re.Match[str]) -> str:
        if match["word"] is None:
            return match[0]
        numbers = (target(int(number)) for number in match["numbers"].split(","))
        return match["word"] + ",".join(map(str, numbers))

    return _JUMP.sub(replaced, body) if _MAY_JUMP.search(body) else body


def digest(lines: Sequence[str], keys: Keys, bodies: Sequence[str]) -> bytes:
    """Eight bytes that are the same for two programs that differ in their numbering alone."""
    places = {key: at for at, key in reversed(list(enumerate(keys))) if key is not None}
    told = [*bodies]
    for at, body in enumerate(bodies):
        if MARK in body:
            targets = targets_of(lines[at], keys[at])
            told[at] = f"{body}\0{[places.get(target, f'no {target}') for target in targets]}"
    whole = "\n".join(told).encode("utf-8", "surrogatepass")
    return hashlib.blake2b(whole, digest_size=8).digest()


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
