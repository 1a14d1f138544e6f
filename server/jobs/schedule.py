"""What begins by itself, and when."""

from datetime import UTC, datetime, timedelta
from typing import Final

from sqlalchemy import Engine

from server.jobs import fixity_audit
from server.jobs.state import PassState

BY: Final = "schedule"
"""Who started what began by itself."""

AGAIN_AFTER: Final = timedelta(days=1)
"""How long an audit that was stopped or failed is left alone at least."""


def audit_is_due(engine: Engine, days: float, newest: PassState | None) -> bool:
    """Whether a fixity audit should begin: the last one ended more than so many days ago.

    `newest` is the newest audit, done or not. None begins while that one is on its way, nor soon
    after somebody stopped it or it failed.
    """
    if newest is not None:
        if not newest.standing.is_over or newest.ended is None:
            return False
        if datetime.now(UTC) - newest.ended < min(AGAIN_AFTER, timedelta(days=days)):
            return False
    return fixity_audit.is_due(engine, days)
