"""A punched tape, read back: frame by frame against what was prepared for it.

A reading may begin anywhere in the leader and end anywhere in the trailer, and may have more of
either than was prepared; all that was read of both, and all of the content, must be the same.
Where it is not, an exact alignment (`server.tape.edit_distance`) says which frames are changed,
missing or too many.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final, NamedTuple

import numpy as np

from server.tape import edit_distance
from server.tape.alignment import Gap
from server.tape.errors import BadImage
from server.tape.image import Frames, Image, Orientation, Span, run_length

MOST_PLACES: Final = 50
"""Differing places that are listed; beyond it they are only counted."""

MOST_KEPT: Final = 16
"""Frames of one place that are kept, of those prepared and of those read."""

_WINDOW, _STEP, _TRIES = 24, 8, 100
"""Frames that are looked for to learn where a reading began, how far apart, and how often."""

_REACH = 50_000
"""Frames beyond the leader in which they are looked for, and idle frames before a reading."""

_SHORT: Final = 4096
"""Frames up to which the way that a tape lay in the reader is chosen by exact distance."""


class Kind(StrEnum):
    """What is the matter with frames."""

    CHANGED = "changed"
    """Other holes than were prepared."""
    MISSING = "missing"
    """Prepared, and not read."""
    EXTRA = "extra"
    """Read, and not prepared."""


class Place(NamedTuple):
    """`frames` neighbouring frames that differ in one way.

    `frame` is the first in the prepared tape (of extra frames, the one before which they stand),
    `read_frame` the first in the reading as it was read (of missing frames, where they belong).
    `prepared` and `read` hold the first `MOST_KEPT` of the frames, as punched.
    """

    kind: Kind
    frame: int
    read_frame: int
    frames: int
    prepared: bytes
    read: bytes


class End(NamedTuple):
    """Leader or trailer: the frames prepared, those of them that were read, and extra idle ones."""

    prepared: int
    read: int
    extra: int


class ChannelFault(NamedTuple):
    """How many of the changed frames lack a hole in a channel, and how many have one too many."""

    channel: int
    lacking: int
    extra: int


@dataclass(frozen=True, slots=True)
class Comparison:
    """How a reading compares with what was prepared.

    `differing` counts the frames that differ: the fewest changed, missing and extra ones that
    turn one into the other; None where the two have too little in common to tell. `places` are
    the first of `total` places; `channels` counts, over all changed frames, whose holes they are.
    """

    same: bool
    orientation: Orientation
    leader: End
    trailer: End
    compared: int
    differing: int | None = 0
    places: tuple[Place, ...] = ()
    total: int = 0
    channels: tuple[ChannelFault, ...] = ()


class _Facing(NamedTuple):
    """What is compared: a span of the prepared tape and one of the reading."""

    prepared: Span
    read: Span

    def of(self, prepared: bytes, read: bytes) -> tuple[bytes, bytes]:
        """The frames themselves."""
        return prepared[slice(*self.prepared)], read[slice(*self.read)]


def compare(prepared: Image, data: Span, read: bytes) -> Comparison:
    """The frames `read`, however the tape lay in the reader, against the `prepared` tape.

    `data` is the span of the prepared tape that carries the content; what stands before it is
    leader, what stands behind it trailer, with their lettering.
    """
    turned = _turned(read, prepared.levels)
    facing = {}
    for way, frames in turned.items():
        found = facing[way] = _facing(prepared.frames, data, frames)
        ours, theirs = found.of(prepared.frames, frames)
        if ours == theirs:
            return _comparison(prepared, data, found, way, len(read))
    way = _likeliest(prepared.frames, turned, facing)
    return _located(prepared, data, turned[way], facing[way], way)


def _turned(read: bytes, levels: int) -> dict[Orientation, bytes]:
    """The reading turned each way; not mirrored where it has holes that no such tape has."""
    try:
        image = Image(read, levels)
    except BadImage:
        return {Orientation.AS_READ: read, Orientation.REVERSED: read[::-1]}
    return {way: image.turned(way).frames for way in Orientation}


def _facing(prepared: bytes, data: Span, read: bytes) -> _Facing:
    size = len(prepared)
    first, start = _begins(prepared, data.start, read)
    last, stop = _begins(prepared[::-1], size - data.stop, read[::-1])
    stop = min(stop, len(read) - start)
    return _Facing(Span(first, size - last), Span(start, len(read) - stop))


def _begins(prepared: bytes, leader: int, read: bytes) -> tuple[int, int]:
    """From which frame of `prepared`, within its `leader`, and of `read` to compare."""
    offset = _offset(prepared, leader, read)
    first, start = min(max(offset, 0), leader), 0
    if offset < 0:
        idle = {0, prepared[0]}
        start = next((at for at in range(-offset) if read[at] not in idle), -offset)
    return _with_equal_runs(prepared, leader, read, first, start)


def _with_equal_runs(
    prepared: bytes, leader: int, read: bytes, first: int, start: int
) -> tuple[int, int]:
    """The same, moved on so that both begin with as many frames of the leader's pattern."""
    if first >= leader or start >= len(read) or prepared[first] != read[start]:
        return first, start
    if prepared[first] not in (0, prepared[0]):
        return first, start  # a stroke of a letter is as wide as it is
    ours = run_length(_array(prepared[first:leader]))
    theirs = run_length(_array(read[start:]))
    if first + ours == leader:
        # The first frames of the content may be like the leader.
        theirs -= _like(prepared[leader:], prepared[first])
    both = max(min(ours, theirs), 0)
    return first + ours - both, start + max(theirs, 0) - both


def _like(frames: bytes, frame: int) -> int:
    """How many frames at the start of `frames` are `frame`."""
    return run_length(_array(frames)) if frames and frames[0] == frame else 0


def _offset(prepared: bytes, leader: int, read: bytes) -> int:
    """Which frame of `prepared` the first of `read` is; negative where `read` begins earlier.

    Told by the first run of frames of the reading that stands once at the start of the prepared
    tape.
    """
    tries = 0
    for at in range(0, min(max(len(read) - _WINDOW + 1, 1), leader + _REACH), _STEP):
        window = read[at : at + _WINDOW]
        if len(set(window)) == 1:
            continue
        reach = leader + at + _REACH
        found = prepared.find(window, 0, reach)
        if found >= 0 and prepared.find(window, found + 1, reach) < 0:
            return found - at
        tries += 1
        if tries == _TRIES:
            break
    return 0


def _likeliest(
    prepared: bytes, turned: dict[Orientation, bytes], facing: dict[Orientation, _Facing]
) -> Orientation:
    """The way in which the reading is nearest to the prepared tape; as it was read if equal."""
    short = max(len(prepared), len(turned[Orientation.AS_READ])) <= _SHORT

    def apart(way: Orientation) -> int:
        ours, theirs = facing[way].of(prepared, turned[way])
        if not short:
            return edit_distance.at_least(ours, theirs)
        found = edit_distance.distance(ours, theirs, _SHORT)
        assert found is not None
        return found

    return min(turned, key=apart)


def _comparison(
    prepared: Image, data: Span, facing: _Facing, way: Orientation, size: int
) -> Comparison:
    """The comparison of what is the same."""
    compared, read = facing
    trailer = len(prepared) - data.stop
    return Comparison(
        same=True,
        orientation=way,
        leader=End(data.start, max(data.start - compared.start, 0), read.start),
        trailer=End(trailer, max(compared.stop - data.stop, 0), size - read.stop),
        compared=compared.frames,
    )


def _located(
    prepared: Image, data: Span, read: bytes, facing: _Facing, way: Orientation
) -> Comparison:
    """The comparison of what differs, and where."""
    ours, theirs = facing.of(prepared.frames, read)
    differs = replace(_comparison(prepared, data, facing, way, len(read)), same=False)
    blocks = _blocks(ours, theirs)
    if blocks is None:
        return replace(differs, differing=None)
    places = [_place(block, ours, theirs, facing, len(read), way) for block in blocks[:MOST_PLACES]]
    return replace(
        differs,
        differing=sum(
            max(each.left_end - each.left, each.right_end - each.right) for each in blocks
        ),
        places=tuple(places),
        total=len(blocks),
        channels=tuple(_channel_faults(blocks, ours, theirs)),
    )


def _blocks(ours: bytes, theirs: bytes) -> list[Gap] | None:
    """Where the two differ; None where they have too little in common."""
    in_step = _in_step(ours, theirs)
    if in_step is not None:
        return in_step
    known = edit_distance.distance(ours, theirs, max(len(ours), len(theirs)))
    if known is None:
        return None
    return edit_distance.edits(ours, theirs, known)


def _in_step(ours: bytes, theirs: bytes) -> list[Gap] | None:
    """Where frames differ that face each other one by one, if one channel explains it all.

    A punch or reader that fails in one channel changes frames and moves none, and however many
    they are, no shift explains them better.
    """
    if len(ours) != len(theirs):
        return None
    changed = _array(ours) ^ _array(theirs)
    bits = int(np.bitwise_or.reduce(changed, initial=0))
    if bits & (bits - 1):
        return None
    edges = np.flatnonzero(np.diff(changed != 0, prepend=False, append=False)).tolist()
    return [Gap(at, end, at, end) for at, end in zip(edges[::2], edges[1::2], strict=True)]


def _place(
    block: Gap, ours: bytes, theirs: bytes, facing: _Facing, size: int, way: Orientation
) -> Place:
    left, right = block.left_end - block.left, block.right_end - block.right
    kind = Kind.EXTRA if not left else Kind.MISSING if not right else Kind.CHANGED
    at = facing.read.start + block.right
    return Place(
        kind=kind,
        frame=facing.prepared.start + block.left,
        read_frame=size - at - max(right, 1) if way.runs_backwards else at,
        frames=max(left, right),
        prepared=ours[block.left : block.left_end][:MOST_KEPT],
        read=theirs[block.right : block.right_end][:MOST_KEPT],
    )


def _channel_faults(blocks: list[Gap], ours: bytes, theirs: bytes) -> Iterator[ChannelFault]:
    changed = [each for each in blocks if each.left_end - each.left == each.right_end - each.right]
    left = _array(b"".join(ours[each.left : each.left_end] for each in changed))
    right = _array(b"".join(theirs[each.right : each.right_end] for each in changed))
    for channel in range(1, 9):
        bit = 1 << channel - 1
        lacking = int(np.count_nonzero(left & ~right & bit))
        extra = int(np.count_nonzero(right & ~left & bit))
        if lacking or extra:
            yield ChannelFault(channel, lacking, extra)


def _array(frames: bytes) -> Frames:
    return np.frombuffer(frames, dtype=np.uint8)
