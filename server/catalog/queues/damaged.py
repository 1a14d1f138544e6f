"""Tapes whose own checks found damage in what was read from them."""

from typing import Final

from sqlmodel import col

from server.catalog.narrowing import AnySelect
from server.catalog.queues.passes import NOTHING_VOUCHES, tapes
from server.catalog.queues.queue import About, Asked, Queue, Step, may_be_handled
from server.catalog.work import Role
from server.store.tapes import Tape
from server.tape.findings import CheckStatus


def _asks(asked: Asked) -> AnySelect:
    del asked
    return tapes(col(Tape.check_status) == CheckStatus.DAMAGED, NOTHING_VOUCHES)


DAMAGED: Final = Queue(
    name="damaged-checks",
    title="Damaged checks",
    meaning="Tapes whose newest image fails its own checks, parity or checksums, and nobody has "
    "vouched for it as it is.",
    todo="See on its page where the damage lies, clean or flatten nothing without a conservator, "
    "read the tape again and merge; or vouch for it, if the tape was punched so.",
    well_done="Well done: no newest image of a tape fails its own checks unheeded.",
    role=Role.VOLUNTEER,
    about=About.TAPE,
    asks=_asks,
    steps=(
        Step("See the damage", "/images/{image}", Role.VISITOR),
        Step("Upload a reading", "/upload?tape={tape}", fits=may_be_handled),
        Step("Proof-read", "/images/{image}/proof-read", Role.ARCHIVIST),
    ),
    actions=("place",),
)
