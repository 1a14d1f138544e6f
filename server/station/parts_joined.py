"""The parts of a reading become one, as far as their overlaps show how."""

from pathlib import Path

from server.station.joining import Joined, join
from server.station.part_file import Parts


def join_parts(parts: Parts, near: int | None = None) -> list[Joined]:
    """Join every part to the first that can be; one that cannot stays as it is.

    `near` is about the frame at which the last of them begins. A crash at any moment leaves
    parts that this joins to the same frames.
    """
    joins = []
    further = parts.found()[1:]
    last = further[-1] if further else None
    while joined := _join_one(parts, further, last, near):
        joins.append(joined)
    return joins


def _join_one(
    parts: Parts, further: list[Path], last: Path | None, near: int | None
) -> Joined | None:
    """Join the first of `further` that can be, and take it out of them."""
    held = parts.first.read_bytes() if further else b""
    for path in further:
        joined = join(held, path.read_bytes(), near if path == last else None)
        if joined is not None:
            parts.replace_first(joined.frames)
            path.unlink()
            further.remove(path)
            return joined
    return None
