"""What was done to a block that does not close, given where the next one begins."""

from collections.abc import Iterator
from enum import StrEnum
from typing import NamedTuple

from server.tape.blocks.layout import Layout


class Harm(StrEnum):
    """What is wrong with a stretch of frames where a block should stand."""

    MISMATCH = "mismatch"
    """As long as its count says, and the checksum differs."""
    DROPPED = "dropped"
    """One frame short: a frame was dropped."""
    DOUBLED = "doubled"
    """One frame too long: a frame was read twice, or a stray one got in."""
    HEAD_WRONG = "head wrong"
    """Closes with one other hole in its mark or count."""
    HEAD_DROPPED = "head dropped"
    """Closes with one frame put into its head."""
    HEAD_DOUBLED = "head doubled"
    """Closes without one frame of its head."""
    TRUNCATED = "truncated"
    """The tape ends before the block does."""
    LENGTH = "length"
    """Shorter or longer than its count says, by more than one frame."""
    STRAY = "stray"
    """Not the beginning of a block at all."""
    PASSED_OVER = "passed over"
    """Not looked into: too much before it was damaged."""


class Damage(NamedTuple):
    """Frames `start` up to `stop` that hold no sound block.

    `size` is how many frames the block has by its count, None where no head can be read. For
    a block that closes once one frame is set right, `value` is what that frame held, and
    `places` are the frames, counted from `start`, where it can have stood; (0,) and None where
    nothing so simple closes it.
    """

    harm: Harm
    start: int
    stop: int
    size: int | None = None
    value: int | None = None
    places: tuple[int, ...] = ()

    @property
    def loads(self) -> bool:
        """Whether the head can be trusted to say where the data go."""
        return self.size is not None


class _Mend(NamedTuple):
    harm: Harm
    place: int
    value: int
    block: bytes


def examine(frames: bytes, start: int, stop: int, layout: Layout, *, torn: bool) -> Damage:
    """What the frames `start` up to `stop`, before the next block, hold.

    Blank frames at their end may be the gap before it. `torn` says that the tape ends there.
    """
    block = frames[start:stop]
    bare = len(block.rstrip(b"\0"))
    size = layout.size_of(block) if layout.is_head(block, 0) and len(block) >= layout.head else None
    if size is not None and bare - 1 <= size <= len(block) + 1:
        return _nearly(block, start, bare, size, layout)
    mend = _mended_head(frames, start, start + bare, layout)
    if mend:
        return Damage(mend.harm, start, start + bare, None, mend.value, (mend.place,))
    if size is None:
        return Damage(Harm.STRAY, start, start + bare)
    if torn and size > len(block):
        return Damage(Harm.TRUNCATED, start, start + max(bare, layout.head), size)
    return Damage(Harm.LENGTH, start, start + max(bare, layout.head), size)


def _nearly(block: bytes, start: int, bare: int, size: int, layout: Layout) -> Damage:
    """A block that is as long as its count says, or one frame shorter or longer."""
    if size == bare - 1:
        return Damage(Harm.DOUBLED, start, start + bare, size, *_doubled(block[:bare], layout))
    missing = -layout.residue(block[: size - 1]) % 256
    # Where the last frame due is blank, it may be the checksum, flawed, or the gap after a
    # block that lost a frame: a checksum of several holes is not lost to one flaw.
    flawed = size > bare and missing.bit_count() == 1
    if size > len(block) or (size == bare + 1 and not flawed):
        return Damage(Harm.DROPPED, start, start + size - 1, size, missing)
    if size > bare and not flawed:
        return Damage(Harm.LENGTH, start, start + bare, size)
    return Damage(Harm.MISMATCH, start, start + size, size)


def _doubled(block: bytes, layout: Layout) -> tuple[int | None, tuple[int, ...]]:
    """What the surplus frame holds, and where it can stand: beside its like, if anywhere."""
    value = layout.residue(block)
    inner = range(max(layout.head, 1), len(block) - 1)
    places = [at for at in inner if block[at] == value]
    twice = [at for at in places if block[at - 1] == value]
    chosen = tuple(twice or places)
    return (value, chosen) if chosen else (None, ())


def _mended_head(frames: bytes, start: int, stop: int, layout: Layout) -> _Mend | None:
    """The one change to a frame of the head with which the frames become a block that closes."""
    if stop - start < layout.head:
        return None
    for begin in (start, start - 1):
        # A blank frame before may belong to the block: a head that lost its first frame.
        if begin < 0 or (begin < start and frames[begin]):
            continue
        for mend in _changes(frames[begin:stop], layout):
            block = mend.block
            if (
                layout.is_head(block, 0)
                and layout.size_of(block) == len(block)
                and not layout.residue(block)
            ):
                return mend._replace(place=mend.place + begin - start)
    return None


def _changes(block: bytes, layout: Layout) -> Iterator[_Mend]:
    """`block` with one frame of its head changed, put in, or left out."""
    count = range(layout.count_at, layout.count_at + layout.count_bytes)
    for place in (*range(len(layout.mark)), *count):
        for channel in range(8):
            value = block[place] ^ 1 << channel
            yield _Mend(Harm.HEAD_WRONG, place, value, _with(block, place, value, 1))
    for place in range(layout.head):
        value = _put_in(block, place, layout)
        yield _Mend(Harm.HEAD_DROPPED, place, value, _with(block, place, value, 0))
        yield _Mend(Harm.HEAD_DOUBLED, place, block[place], block[:place] + block[place + 1 :])


def _put_in(block: bytes, place: int, layout: Layout) -> int:
    """What a frame put in at `place` of the head must hold for the block to be whole."""
    if place < len(layout.mark):
        return layout.mark[place]
    count = len(block) + 1 - layout.beyond
    if place == layout.count_at:
        return count & 0xFF
    if place < layout.count_at + layout.count_bytes:
        return count >> 8 & 0xFF
    return -layout.residue(block) % 256


def _with(block: bytes, place: int, value: int, instead_of: int) -> bytes:
    return block[:place] + bytes([value]) + block[place + instead_of :]
