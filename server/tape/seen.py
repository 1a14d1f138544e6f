"""An image seen from another: as it stands, under the other's line numbers, at its addresses.

What leads from one to the other is told in the way that leaves least to tell.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from server.tape.changes import Changes, changes
from server.tape.normal_form import NormalForm, common_cell
from server.tape.relocation import put_back
from server.tape.renumbering import form_like


@dataclass(frozen=True, slots=True)
class Seen:
    """A normal form as it is compared: `moved_by` so many addresses, `words` of them inside."""

    form: NormalForm
    renumbered: bool = False
    moved_by: int = 0
    words: int = 0


def seen_from(a: NormalForm, b: NormalForm) -> Iterator[Seen]:
    """The ways in which `b` may be held beside `a`; the plain one last, for it is the dearest."""
    back = None if a.textual or b.textual else put_back(a.memory, b.memory, common_cell(a, b))
    if back is not None:
        yield Seen(replace(b, memory=back.memory), moved_by=back.by, words=back.words)
    like = form_like(a, b) if a.textual and b.textual else None
    if like is not None:
        yield Seen(like, renumbered=True)
    yield Seen(b)


def nearest(a: NormalForm, b: NormalForm, cutoff: float) -> tuple[Changes, Seen] | None:
    """What leads from `a` to `b`, and how `b` was seen; None where `cutoff` is not reached."""
    told: list[tuple[Changes, Seen]] = []
    for seen in seen_from(a, b):
        found = changes(a, seen.form, cutoff)
        if found is not None:
            told.append((found, seen))
            if found.distance == 0:
                break
    # Of two that tell as much, lines are not called renumbered, but memory is called moved.
    return min(told, key=lambda each: (each[0].distance, each[1].renumbered), default=None)
