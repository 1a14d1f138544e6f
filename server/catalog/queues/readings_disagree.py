"""Tapes that were read several times, without the readings having come to agree."""

from typing import Final

from server.catalog.narrowing import AnySelect
from server.catalog.queues.passes import IS_READ, NOTHING_VOUCHES, passes, tapes
from server.catalog.queues.queue import About, Asked, Queue, Step, may_be_handled
from server.catalog.work import Role


def _asks(asked: Asked) -> AnySelect:
    del asked
    return tapes(IS_READ, NOTHING_VOUCHES, passes() > 1)


READINGS_DISAGREE: Final = Queue(
    name="readings-disagree",
    title="Readings disagree",
    meaning="Tapes that were read more than once, and the readings have not come to agree: they "
    "differ, or nobody has merged them yet.",
    todo="Merge the readings; settle what stays open by eye, or read the tape once more.",
    well_done="Well done: no two readings of a tape are left in disagreement.",
    role=Role.VOLUNTEER,
    about=About.TAPE,
    asks=_asks,
    steps=(
        Step("Merge the readings", "/merge?tape={tape}"),
        Step("Upload a reading", "/upload?tape={tape}", fits=may_be_handled),
        Step("Proof-read", "/images/{image}/proof-read", Role.ARCHIVIST),
    ),
    actions=("place",),
)
