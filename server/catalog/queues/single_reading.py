"""Tapes that were read once, and of whose image nothing says that it is right."""

from typing import Final

from server.catalog.narrowing import AnySelect
from server.catalog.queues.passes import (
    IS_READ,
    NOT_HELD_APART,
    NOTHING_VOUCHES,
    passes,
    tapes,
)
from server.catalog.queues.queue import About, Asked, Queue, Step
from server.catalog.work import Role


def _asks(asked: Asked) -> AnySelect:
    del asked
    return tapes(IS_READ, NOTHING_VOUCHES, NOT_HELD_APART, passes() == 1)


SINGLE_READING: Final = Queue(
    name="single-reading",
    title="Single reading only",
    meaning="Tapes that went through a reader once, and nothing vouches for what it gave: no "
    "checksum, no second reading, no proof-reader.",
    todo="Read the tape once more and upload that, or have the listing proof-read.",
    well_done="Well done: whatever was read only once is vouched for in another way.",
    role=Role.VOLUNTEER,
    about=About.TAPE,
    asks=_asks,
    steps=(
        Step("Upload a reading", "/upload?tape={tape}"),
        Step("Proof-read", "/images/{image}/proof-read", Role.ARCHIVIST),
    ),
    actions=("place",),
)
