"""Programs that were numbered anew: one is seen under the numbers of the other.

What `renumbered` means is said here, and nowhere else: two programs are the same but for their
numbering when each line has the statements of its counterpart, and each jump leads to the
counterpart of the line that it led to. Where that holds of most lines only, they are near, and
said to be renumbered, and all that differs besides is counted under one numbering.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from server.tape.line_pairs import Keyed, pair
from server.tape.line_targets import with_targets, without_number
from server.tape.normal_form import NormalForm

_SHARE = 4
"""One in so many characters must have gone on under another number before anything is tried."""


def looks_renumbered(a: NormalForm, b: NormalForm) -> bool:
    """Whether enough statements are in both under other numbers; cheap, for every candidate.

    They count for what they are long: every program has lines such as PRINT and RETURN.
    """
    if min(len(a.lines), len(b.lines)) < 2:
        return False
    stayed = _in_both(a.lines, b.lines)
    # What stayed cannot have moved, and a line is no shorter than its statements.
    if stayed * _SHARE > (_SHARE - 1) * min(sum(map(len, each.lines)) for each in (a, b)):
        return False
    moved = _in_both(a.bodies, b.bodies) - stayed
    return moved > 0 and moved * _SHARE >= min(sum(map(len, each.bodies)) for each in (a, b))


def _in_both(a: Sequence[str], b: Sequence[str]) -> int:
    """How long the lines are that are in both; of one that stands often, the fewer of each."""
    if set(a).isdisjoint(b):
        return 0
    return sum(len(line) * count for line, count in (Counter(a) & Counter(b)).items())


def renumbered_like(a: Keyed, b: Keyed, bodies: tuple[Sequence[str], Sequence[str]]) -> Keyed:
    """The lines of `b` under the numbers of their counterparts in `a`.

    `bodies` are the lines of both without their numbers and without those that they jump to.
    A line without a counterpart gets a number that `a` does not use, after that of the line
    before it; a jump goes on to lead where it led.
    """
    matched = dict(_pairs(*bodies))
    keys: list[int | None] = []
    last, taken = 0, set(a.keys)
    for at, key in enumerate(b.keys):
        if key is None:
            keys.append(None)
            continue
        counterpart = a.keys[matched[at]] if at in matched else None
        last = _free(last, taken) if counterpart is None else counterpart
        taken.add(last)
        keys.append(last)
    places = dict(reversed(list(zip(b.keys, keys, strict=True))))
    lines = [
        line if old is None else f"{new} {_led(line, old, places, taken)}"
        for line, old, new in zip(b.lines, b.keys, keys, strict=True)
    ]
    return Keyed(lines, keys)


def form_like(a: NormalForm, b: NormalForm) -> NormalForm | None:
    """`b` under the numbers of `a`; None where nothing speaks for it."""
    if not looks_renumbered(a, b):
        return None
    seen = renumbered_like(Keyed(a.lines, a.keys), Keyed(b.lines, b.keys), (a.bodies, b.bodies))
    return replace(b, lines=tuple(seen.lines), keys=tuple(seen.keys))


def _pairs(a: Sequence[str], b: Sequence[str]) -> list[tuple[int, int]]:
    """Which line of `b` stands for which of `a`, told by their statements alone."""
    left, right = (Keyed(side, [None] * len(side)) for side in (a, b))
    return [(at, counterpart) for counterpart, at in pair(left, right)]


def _free(last: int, taken: set[int | None]) -> int:
    while last in taken:
        last += 1
    return last


def _led(line: str, old: int, places: dict[int | None, int | None], taken: set[int | None]) -> str:
    """The statements of `line`, its jumps under the new numbers."""

    def target(number: int) -> int | None:
        return places[number] if number in places else _free(number, taken)

    return with_targets(without_number(line, old), target)
