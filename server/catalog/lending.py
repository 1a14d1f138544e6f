"""What stands against giving a tape out of hand: to a borrower, or to a demonstrator for a day."""

from collections.abc import Iterator

from server.catalog.errors import Conflict
from server.catalog.loan_values import Obstacle
from server.catalog.vocabulary import Condition, Hazard
from server.store.tapes import Tape

RULE = (
    "A tape that is held apart for a hazard, and one that is fragile or unfit for a reader and was"
    " never read, leaves the shelf only where an archivist has written the reason."
)


def obstacles_to(tape: Tape) -> tuple[Obstacle, ...]:
    """What stands against giving the tape out, as it is now; see `RULE`."""
    return tuple(_obstacles(tape))


def _obstacles(tape: Tape) -> Iterator[Obstacle]:
    if Hazard(tape.hazard).quarantines:
        yield Obstacle.QUARANTINED
    if tape.condition in (Condition.FRAGILE, Condition.UNFIT) and tape.image_id is None:
        yield Obstacle.FRAGILE_AND_UNREAD


def require_held(tape: Tape) -> None:
    """Nothing, if the tape is still in the collection.

    Raises:
        Conflict: it left it.
    """
    if tape.deaccessioned_on is not None:
        raise Conflict(
            f"Tape {tape.accession_number} left the collection on {tape.deaccessioned_on}.",
            where=tape.accession_number,
            mend="Look at its page.",
        )
