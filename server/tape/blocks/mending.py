"""The single flaws that would explain a checksum: one hole too many, or one missing."""

from typing import Final, NamedTuple

from server.tape.blocks.layout import Layout

NAMED: Final = 5
"""How many places are named; a checksum of eight bits can be closed at many."""


class Flip(NamedTuple):
    """The frame at `place` of a block, what it holds and what would close the checksum."""

    place: int
    was: int
    due: int


def flips(block: bytes, layout: Layout) -> list[Flip]:
    """Every change of one hole after which `block` closes, its mark and count left alone."""
    residue = layout.residue(block)
    summed = range(max(layout.summed_from, _after_count(layout)), len(block) - 1)
    wanted = _changes(residue)
    found = [Flip(at, block[at], wanted[block[at]]) for at in summed if block[at] in wanted]
    in_checksum = _changes(residue if layout.closing > 0 else -residue % 256).get(block[-1])
    if in_checksum is not None:
        found.append(Flip(len(block) - 1, block[-1], in_checksum))
    return found


def _after_count(layout: Layout) -> int:
    return layout.count_at + layout.count_bytes


def _changes(residue: int) -> dict[int, int]:
    """For each byte that one hole would change by minus `residue`, what it would become."""
    return {
        byte: byte ^ 1 << channel
        for byte in range(256)
        for channel in range(8)
        if ((byte ^ 1 << channel) - byte + residue) % 256 == 0
    }


def offered(found: list[Flip]) -> str:
    """`found` in words: what would close the checksum; nothing is changed by it."""
    if not found:
        return "no single hole closes it, so more than one is wrong"
    named = ", ".join(
        f"frame {each.place + 1} of the block is {each.due:02X} and not {each.was:02X}"
        for each in found[:NAMED]
    )
    more = f", or {len(found) - NAMED} others likewise" if len(found) > NAMED else ""
    return f"one hole closes it if {named}{more} (offered, not applied)"
