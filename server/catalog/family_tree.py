"""A family as a tree: each member hangs on the one that it is closest to.

Grown from the root, always by the least distance between one who hangs and one who does not yet
(R. C. Prim, 'Shortest connection networks and some generalizations', 1957), which gives a tree
of least total distance. Who came from whom cannot be known from that, and the tree does not say
so; where a person recorded from what a member was made, it hangs there, whatever the distance.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import NamedTuple


class Length(NamedTuple):
    """How far apart two members are, the nearest first.

    One that is part of the other is told by where it stands there; so it is hung last, on the
    one that it fits best, and does not bring together what merely share it.
    """

    in_part: bool
    unlike: float
    distance: int


Pair = frozenset[int]
Measure = Callable[[int, Collection[int]], Mapping[int, Length]]
"""How far a member is from some others, compared afresh where nothing is near."""


class Hanging(NamedTuple):
    """A member, and the one that it hangs on."""

    member: int
    on: int


def grown(
    members: Sequence[int],
    root: int,
    lengths: Mapping[Pair, Length],
    made_from: Mapping[int, int],
    measure: Measure,
) -> list[Hanging]:
    """The tree of `members` but the root, in the order in which they were hung.

    `made_from` says on whom a member must hang; it holds no cycle, and nothing of the root.
    """
    hung, waiting = [root], [each for each in members if each != root]
    known = dict(lengths)
    tree: list[Hanging] = []
    while waiting:
        found = _next(hung, waiting, known, made_from)
        if found is None:
            free = next(each for each in waiting if made_from.get(each) not in waiting)
            known |= {Pair((free, on)): far for on, far in measure(free, tuple(hung)).items()}
            continue
        tree.append(found)
        waiting.remove(found.member)
        hung.append(found.member)
    return tree


def _next(
    hung: Sequence[int],
    waiting: Sequence[int],
    lengths: Mapping[Pair, Length],
    made_from: Mapping[int, int],
) -> Hanging | None:
    """Who is to be hung next: the one whom it takes least to reach."""
    reached = [
        (lengths.get(Pair((member, on))), at, place, Hanging(member, on))
        for at, member in enumerate(waiting)
        for place, on in enumerate(hung)
        if made_from.get(member, on) == on
    ]
    recorded = [each for *_, each in reached if each.member in made_from]
    if recorded:
        return recorded[0]
    told = [(length, at, place, each) for length, at, place, each in reached if length is not None]
    return min(told)[3] if told else None


def medoid(members: Sequence[int], lengths: Mapping[Pair, Length]) -> int:
    """The member that is least unlike all others together; the first of several."""

    def unlike(member: int) -> float:
        others = (lengths.get(Pair((member, other))) for other in members if other != member)
        return sum(1.0 if each is None else each.unlike for each in others)

    return min(members, key=unlike)
