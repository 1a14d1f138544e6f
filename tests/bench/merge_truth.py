"""How far an image is from what was punched, and the plain ways of merging it is held against."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import groupby

import edlib
import numpy as np
from rapidfuzz.distance import Levenshtein

from server.tape.image import Image
from server.tape.merging import Dispute, Merged
from server.tape.merging.anchors import Lane
from server.tape.merging.pairing import pair

_NEAR = 2
"""Frames between a wrong frame and a listed doubt: in a row of equal frames either may be meant."""


def wrong_frames(tape: Image, frames: bytes) -> list[int]:
    """Where `frames` differ from the tape, as frames of them; the length of leaders left out."""
    laid = pair(Lane(tape.frames), Lane(frames))
    found = laid.at[laid.flipped - laid.begins].tolist()
    for each in laid.indels:
        found += range(each.right, each.right_end)
        found += [each.right] * (each.left_end - each.left)
    return sorted(found)


def unlisted(wrong: Sequence[int], merged: Merged) -> list[int]:
    """Those of the wrong frames that no open dispute names."""
    near = np.array([_frame(each, merged) for each in merged.open_disputes])
    return [each for each in wrong if not near.size or np.abs(near - each).min() > _NEAR]


def _frame(dispute: Dispute, merged: Merged) -> int:
    """The frame of the merged image at or after a dispute, by the disputes before it."""
    column = dispute.column
    if dispute.frame is not None:
        return dispute.frame
    before = [each for each in merged.disputes if each.column < column and each.frame is not None]
    if not before:
        return column
    last = before[-1]
    assert last.frame is not None
    return last.frame + column - last.column


def by_edlib(readings: Sequence[Image]) -> list[str]:
    """The paths of all readings on the first, as edlib finds them."""
    first = readings[0].frames
    return [edlib.align(each.frames, first, task="path")["cigar"] for each in readings[1:]]


def by_rapidfuzz(readings: Sequence[Image]) -> list[object]:
    """The edits from the first reading to each other, as rapidfuzz finds them with a hint."""
    first = readings[0].frames
    hint = len(first) // 100
    return [Levenshtein.editops(first, each.frames, score_hint=hint) for each in readings[1:]]


def plain_majority(readings: Sequence[Image]) -> bytes:
    """The vote of readings that edlib aligned with the first, frame by frame."""
    first = readings[0].frames
    votes: list[list[int | None]] = [[each] for each in first]
    extra: dict[int, list[bytes]] = {}
    for reading, cigar in zip(readings[1:], by_edlib(readings), strict=True):
        for at, value in _votes(cigar, reading.frames):
            if isinstance(value, bytes):
                extra.setdefault(at, []).append(value)
            else:
                votes[at].append(value)
    merged = bytearray()
    for at, cast in enumerate([*votes, []]):
        added = extra.get(at, [])
        if 2 * len(added) > len(readings):
            merged += Counter(added).most_common(1)[0][0]
        value = Counter(cast).most_common(1)[0][0] if cast else None
        if value is not None:
            merged.append(value)
    return bytes(merged)


def _votes(cigar: str, frames: bytes) -> Iterator[tuple[int, int | bytes | None]]:
    """The vote of one reading on each frame of the first: its own, None, or what it adds before."""
    at = own = 0
    number = ""
    for digits, part in groupby(cigar, str.isdigit):
        if digits:
            number = "".join(part)
            continue
        for count, kind in zip([int(number)], part, strict=True):
            if kind == "I":
                yield at, frames[own : own + count]
                own += count
            else:
                for step in range(count):
                    yield at + step, None if kind == "D" else frames[own + step]
                at += count
                own += 0 if kind == "D" else count
