"""What a person may do with background work."""

from server.catalog.errors import Conflict
from server.catalog.work import Actor, Role
from server.jobs.background import Background
from server.jobs.state import Pass, PassState


def start(background: Background | None, actor: Actor, kind: Pass) -> PassState:
    """Start a pass over the whole library, or join the one of its kind that is not done.

    Raises:
        NotSignedIn, NotAllowed: the actor is no archivist.
        Conflict: this worker takes up no background work.
    """
    actor.require(Role.ARCHIVIST)
    return _there(background).start_pass(kind, actor.name)


def stop(background: Background | None, actor: Actor, kind: Pass) -> PassState | None:
    """Stop the pass of that kind that is not done; what it found so far stays.

    Raises:
        NotSignedIn, NotAllowed: the actor is no archivist.
        Conflict: this worker takes up no background work.
    """
    actor.require(Role.ARCHIVIST)
    return _there(background).stop_pass(kind)


def last(background: Background | None, actor: Actor, kind: Pass) -> PassState | None:
    """How the newest pass stands; None where there is none, or none is taken up here.

    Raises:
        NotSignedIn, NotAllowed: the actor is no archivist.
    """
    actor.require(Role.ARCHIVIST)
    return None if background is None else background.last_pass(kind)


def _there(background: Background | None) -> Background:
    if background is None:
        raise Conflict(
            "Background work is switched off on this worker.",
            where="background_work",
            mend="Start a worker with FEEDHOLE_BACKGROUND_WORK=yes, or run the command on one.",
        )
    return background
