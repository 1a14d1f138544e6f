"""Content over several reels: cut where a line or a record ends, as full as each will be."""

from collections.abc import Callable, Iterator
from typing import Final

from server.tape.errors import CannotPrepare
from server.tape.image import Span
from server.tape.material import Material, joined

PIECE: Final = 16
"""Bytes in what is never cut, where no record length is given: those of a usual record."""

MOST_REELS: Final = 99
"""More would not be lettered, loaded or kept together by anybody (a judgement)."""

_NEAR: Final = 512
"""Frames that a cut between bare frames may be moved back, to one between two with holes."""

_IDLE: Final = bytes((0x00, 0xFF))


def divided(
    material: Material, length: int, room: int, write: Callable[[Material], bytes]
) -> list[bytes]:
    """The frames of each reel, none over `room`; `write` gives those of some of the content.

    Only the last has the entry address: a loader that started before would miss the rest.

    Raises:
        CannotPrepare: one line or record alone takes more than `room`.
    """
    pieces = material.pieces(length)
    reels = []
    at = 0
    while at < len(pieces):
        # No piece takes less than a frame, so no more of them can fit than there is room.
        near = pieces[at : at + max(room, 1)]
        count = _most(near, material.entry_address, room, write)
        if not count:
            size = len(write(joined(near[:1], material.entry_address)))
            raise CannotPrepare(
                f"a line or record takes {size} frames with what ends it; {max(room, 0)} are left "
                "for it on a reel",
                mend="give a reel more frames, or less leader and lettering",
                choice="frames_per_reel",
            )
        at += count
        entry = material.entry_address if at == len(pieces) else None
        reels.append(write(joined(near[:count], entry)))
    return reels


def check_number(frames: int, room: int) -> None:
    """Refuse to divide so many `frames` into reels with `room` for so few.

    Raises:
        CannotPrepare: they would take more than `MOST_REELS`.
    """
    if frames > MOST_REELS * room:
        raise CannotPrepare(
            f"{frames} frames would take over {MOST_REELS} reels, with {max(room, 0)} on each",
            mend="give a reel more frames, or less leader and lettering",
            choice="frames_per_reel",
        )


def _most(
    pieces: list[Material], entry: int | None, room: int, write: Callable[[Material], bytes]
) -> int:
    """How many of `pieces` fit in `room`: by doubling, then by halves; more never take fewer."""
    fits, over = 0, 1
    while over <= len(pieces) and len(write(joined(pieces[:over], entry))) <= room:
        fits, over = over, 2 * over
    over = min(over, len(pieces) + 1)
    while over - fits > 1:
        count = (fits + over) // 2
        if len(write(joined(pieces[:count], entry))) <= room:
            fits = count
        else:
            over = count
    return fits


def cut(frames: bytes, room: int) -> Iterator[Span]:
    """Where bare frames are cut: between two that nobody would take for leader, if there are."""
    start = 0
    while len(frames) - start > room:
        stop = start + room
        for at in range(stop, max(start, stop - _NEAR), -1):
            if frames[at - 1] not in _IDLE and frames[at] not in _IDLE:
                stop = at
                break
        yield Span(start, stop)
        start = stop
    yield Span(start, len(frames))
