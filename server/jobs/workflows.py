"""The work itself, as the durable engine runs it: steps that are written down once done.

What the steps take and give is plain numbers and words, for the engine keeps it as JSON.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from typing import Any, Final, TypedDict

from dbos import DBOS, error
from sqlalchemy import Engine

from server.jobs import fixity_audit, kin_pass, passes
from server.jobs.passes import Plan, Progress
from server.jobs.state import Pass

NAMES: Final[Mapping[Pass, str]] = {
    Pass.KIN: "find-kin-in-everything",
    Pass.FIXITY: "hash-every-image-again",
}
"""What the engine calls each pass."""

PROGRESS: Final = "progress"

RELEASE: Final = "passes-3"
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
    replica: Engine | None = None

    @classmethod
    def library(cls) -> Engine:
        """The library's database."""
        assert cls.engine is not None
        return cls.engine


@DBOS.step(name="plan", **_REPEATED)
def _plan() -> dict[str, int]:
    planned = passes.plan(Library.library())
    return {"images": planned.images, "up_to": planned.up_to}


@DBOS.step(name="batch", **_REPEATED)
def _batch(name: str, after: int, up_to: int) -> dict[str, int]:
    return kin_pass.act(Library.library(), name, after, up_to)


@DBOS.step(name="pairs", **_REPEATED)
def _pairs() -> int:
    return kin_pass.pairs(Library.library())


@DBOS.step(name="begin", **_REPEATED)
def _begin() -> str:
    return fixity_audit.begin(Library.library()).isoformat()


@DBOS.step(name="hash", **_REPEATED)
def _hash(audit: str, after: int, up_to: int) -> dict[str, int]:
    return fixity_audit.act(Library.library(), Library.replica, audit, after, up_to)


@DBOS.step(name="conclude", **_REPEATED)
def _conclude(audit: str, by: str, started: str, plan: dict[str, int]) -> dict[str, int]:
    began = datetime.fromisoformat(started)
    return fixity_audit.conclude(Library.library(), audit, by, began, Plan(**plan))


def _tell(progress: Progress) -> None:
    told = {"done": progress.done, "of": progress.of, "found": progress.found}
    DBOS.set_event(PROGRESS, told)


@contextmanager
def _failing_plainly() -> Iterator[None]:
    try:
        yield
    except error.DBOSMaxStepRetriesExceeded as gave_up:
        why = gave_up.errors[-1] if gave_up.errors else gave_up
        raise PassFailed(str(why)) from None


@DBOS.workflow(name=NAMES[Pass.KIN])
def find_kin_in_everything(by: str) -> dict[str, int]:
    """The pass, from its plan to its outcome; `by` is kept by the engine, to be shown.

    Raises:
        PassFailed: a step failed as often as it is tried.
    """
    del by
    with _failing_plainly():
        plan = Plan(**_plan())
        passes.whole(kin_pass.ROUNDS, plan, _batch, _tell)
        return {"images": plan.images, "pairs": _pairs()}


@DBOS.workflow(name=NAMES[Pass.FIXITY])
def hash_every_image_again(by: str) -> dict[str, int]:
    """The audit, from its beginning to what it found in all.

    Raises:
        PassFailed: a step failed as often as it is tried.
    """
    audit = DBOS.workflow_id
    assert audit is not None

    def hash_next(name: str, after: int, up_to: int) -> dict[str, int]:
        del name  # there is but one round
        return _hash(audit, after, up_to)

    with _failing_plainly():
        started, plan = _begin(), _plan()
        passes.whole([fixity_audit.ROUND], Plan(**plan), hash_next, _tell)
        return _conclude(audit, by, started, plan)


WORKFLOWS: Final[Mapping[Pass, Any]] = {
    Pass.KIN: find_kin_in_everything,
    Pass.FIXITY: hash_every_image_again,
}
