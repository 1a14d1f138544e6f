"""The work itself, as the durable engine runs it: steps that are written down once done.

What the steps take and give is plain numbers, for the engine keeps it as JSON.
"""

from typing import Final, TypedDict

from dbos import DBOS, error
from sqlalchemy import Engine

from server.jobs import kin_pass
from server.jobs.kin_pass import Plan, Progress

NAME: Final = "find-kin-in-everything"
PROGRESS: Final = "progress"

RELEASE: Final = "kin-pass-2"
"""Raised when the steps of some work change: what was begun in another release is not taken up."""


class PassFailed(Exception):
    """A pass that cannot go on; says why."""


class _Repeated(TypedDict):
    """How often a step that fails is tried again, and after how many seconds at first."""

    retries_allowed: bool
    interval_seconds: float
    max_attempts: int
    backoff_rate: float


_REPEATED: Final = _Repeated(
    retries_allowed=True, interval_seconds=0.5, max_attempts=4, backoff_rate=2.0
)
"""A database that another change holds, or that is away for a moment, is no reason to give up."""


class Library:
    """What the steps of this process work on; the engine itself calls them with plain values."""

    engine: Engine | None = None

    @classmethod
    def library(cls) -> Engine:
        """The library's database."""
        assert cls.engine is not None
        return cls.engine


@DBOS.step(name="plan", **_REPEATED)
def _plan() -> dict[str, int]:
    planned = kin_pass.plan(Library.library())
    return {"images": planned.images, "up_to": planned.up_to}


@DBOS.step(name="batch", **_REPEATED)
def _batch(name: str, after: int, up_to: int) -> dict[str, int]:
    return kin_pass.act(Library.library(), name, after, up_to)


@DBOS.step(name="pairs", **_REPEATED)
def _pairs() -> int:
    return kin_pass.pairs(Library.library())


@DBOS.workflow(name=NAME)
def find_kin_in_everything(by: str) -> dict[str, int]:
    """The pass, from its plan to its outcome; `by` is kept by the engine, to be shown.

    Raises:
        PassFailed: a step failed as often as it is tried.
    """
    del by

    def tell(progress: Progress) -> None:
        told = {"done": progress.done, "of": progress.of, "kin": progress.kin}
        DBOS.set_event(PROGRESS, told)

    try:
        plan = Plan(**_plan())
        kin_pass.whole(plan, _batch, tell)
        return {"images": plan.images, "pairs": _pairs()}
    except error.DBOSMaxStepRetriesExceeded as gave_up:
        why = gave_up.errors[-1] if gave_up.errors else gave_up
        raise PassFailed(str(why)) from None
