"""What the blocks of a tape load, and the frames that are theirs."""

from dataclasses import replace
from typing import Final

import numpy as np

from server.tape.blocks.damage import Damage, Harm
from server.tape.blocks.layout import Integers, Layout, Tape
from server.tape.blocks.program import HIGHEST
from server.tape.blocks.walk import Walked
from server.tape.loading import LoadedBlock, Loads, loaded_blocks

_WITHOUT_CHECKSUM: Final = frozenset({Harm.LENGTH, Harm.TRUNCATED})


def spans(walked: Walked, tape: Tape) -> tuple[Integers, Integers]:
    """The first frame of all that a walk met, in order, and the frame after the last of each."""
    others = [(each.start, each.stop) for each in walked.damages]
    others += [(each.start, each.stop) for each in walked.specials]
    extra = np.array(others, np.int64).reshape(-1, 2)
    starts = np.concatenate([tape.blocks.starts[walked.chosen], extra[:, 0]])
    stops = np.concatenate([tape.blocks.stops[walked.chosen], extra[:, 1]])
    order = np.argsort(starts, kind="stable")
    return starts[order], stops[order]


def frames_in(frames: bytes, starts: Integers, stops: Integers) -> bytes:
    """The frames from each of `starts` up to each of `stops`, gaps left out."""
    if not starts.size:
        return b""
    if np.all(starts[1:] == stops[:-1]):
        return frames[int(starts[0]) : int(stops[-1])]
    edges = np.zeros(len(frames) + 1, np.int8)
    edges[starts] += 1
    edges[stops] -= 1
    inside = np.cumsum(edges[:-1], dtype=np.int8) > 0
    return np.frombuffer(frames, np.uint8)[inside].tobytes()


def loads_of(walked: Walked, tape: Tape) -> Loads:
    """What the sound blocks load, and the damaged ones whose heads can be read.

    A block that runs past the highest address goes on at 0, in a stretch of its own.
    """
    layout = tape.layout
    damaged = [each for each in walked.damages if each.loads]
    harmed = np.array([(each.start, each.stop) for each in damaged], np.int64).reshape(-1, 2)
    ends = np.array([_data_stop(each, layout) for each in damaged], np.int64)
    chosen = np.array(walked.chosen, np.int64)
    starts = np.concatenate([tape.blocks.starts[chosen], harmed[:, 0]])
    stops = np.concatenate([tape.blocks.stops[chosen], harmed[:, 1]])
    data_stops = np.concatenate([tape.blocks.stops[chosen] - 1, ends])
    order = np.argsort(starts, kind="stable")
    at = starts[order] + layout.head
    place = starts[order] + layout.address_at
    loads = Loads(
        tape.array,
        at,
        np.maximum(data_stops[order] - at, 0),
        tape.array[place].astype(np.int64) | tape.array[place + 1].astype(np.int64) << 8,
        np.arange(starts.size),
        starts[order],
        stops[order],
        order >= chosen.size,
    )
    return _wrapped(loads.only(loads.lengths > 0))


def _data_stop(damage: Damage, layout: Layout) -> int:
    assert damage.size is not None
    last = damage.stop if damage.harm in _WITHOUT_CHECKSUM else damage.stop - 1
    return max(min(last, damage.start + damage.size - 1), damage.start + layout.head)


def _wrapped(loads: Loads) -> Loads:
    over = np.flatnonzero(loads.ends > HIGHEST + 1)
    if not over.size:
        return loads
    room = HIGHEST + 1 - loads.addresses[over]
    beyond = loads.only(over)
    beyond = replace(
        beyond,
        at=beyond.at + room,
        lengths=beyond.lengths - room,
        addresses=np.zeros(over.size, np.int64),
    )
    lengths = loads.lengths.copy()
    lengths[over] = room
    kept = replace(loads, lengths=lengths)
    names = ("at", "lengths", "addresses", "records", "starts", "stops", "damaged")
    both = Loads(
        loads.raw, *(np.concatenate([getattr(kept, n), getattr(beyond, n)]) for n in names)
    )
    return both.only(np.argsort(both.records, kind="stable"))


def by_frame(loads: Loads) -> Loads:
    """The same, each stretch with the frames of its data alone: a byte a frame."""
    return replace(loads, starts=loads.at, stops=loads.at + loads.lengths)


def coverage(loads: Loads) -> tuple[LoadedBlock, ...]:
    """One entry a block."""
    frames = (loads.starts, loads.stops)
    return loaded_blocks(loads.addresses, loads.ends - 1, frames, ~loads.damaged)
