"""Tapes that nobody has read yet."""

from typing import Final

from server.catalog.narrowing import AnySelect
from server.catalog.queues.passes import IS_READ, NOT_HELD_APART, tapes
from server.catalog.queues.queue import About, Asked, Queue, Step
from server.catalog.work import Role


def _asks(asked: Asked) -> AnySelect:
    del asked
    return tapes(~IS_READ, NOT_HELD_APART)


UNREAD: Final = Queue(
    name="unread",
    title="Unread",
    meaning="Tapes of which no image is held. Those in quarantine wait until they are released.",
    todo="Look at its condition first. Then read the tape and upload what the reader gave.",
    well_done="Well done: every tape that may be handled has been read.",
    role=Role.VOLUNTEER,
    about=About.TAPE,
    asks=_asks,
    steps=(
        Step("Upload a reading", "/upload?tape={tape}"),
        Step("Log its condition", "/tapes/{tape}/condition/new"),
    ),
    actions=("place",),
)
