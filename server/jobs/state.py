"""How background work stands, in words that pages, API and commands share."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from server.jobs.passes import Progress


class Pass(StrEnum):
    """A pass over the whole library, by the name that its addresses have."""

    KIN = "kin-pass"
    """Finds kin in everything."""
    FIXITY = "fixity-audit"
    """Hashes every image again."""


class Standing(StrEnum):
    """How a pass stands."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    STOPPED = "stopped"
    FAILED = "failed"

    @property
    def is_over(self) -> bool:
        """Whether nothing more will come of it."""
        return self in {Standing.DONE, Standing.STOPPED, Standing.FAILED}


@dataclass(frozen=True, slots=True)
class PassState:
    """The newest pass of its kind: who started it, when, how far it is, and what came of it.

    `result` tells, once it is done, the `images` looked at and, of the pass that finds kin, the
    `pairs` recorded; of a fixity audit how many are `failing` and `mended`. `fault` tells why it
    failed.
    """

    standing: Standing
    by: str
    started: datetime
    ended: datetime | None
    progress: Progress
    result: dict[str, int] | None
    fault: str
