"""Passes over the whole library from the command line: started, followed, and told of."""

import time
from argparse import Namespace
from collections.abc import Callable
from typing import Final

from server.api.work import PassOut
from server.catalog.work import COMMAND
from server.commands.archive import working
from server.commands.console import DONE, REFUSED, complain, give, say
from server.jobs.background import Background
from server.jobs.state import Pass, PassState, Standing
from server.settings import Settings

POLL_SECONDS: Final = 0.5


def to_its_end(args: Namespace, kind: Pass, looks: str) -> PassState:
    """Start a pass or join it, and say how far it is; started again, it goes on where it was.

    `looks` says what it counts, such as 'images hashed'.

    Raises:
        NotMigrated: the database is of another release.
    """
    with working(writes=False):
        pass  # refuses a database of another release before anything begins
    with Background(Settings()) as background:
        background.take_over()
        state = background.start_pass(kind, COMMAND.name)
        told = -1
        while not state.standing.is_over:
            if state.progress.done != told and not args.json:
                told = state.progress.done
                say(f"{told:,} of {state.progress.of:,} {looks}")
            time.sleep(POLL_SECONDS)
            state = background.last_pass(kind) or state
    return state


def tell(
    state: PassState, shape: type[PassOut], sentence: Callable[[dict[str, int]], str], *, json: bool
) -> int:
    """Say how a pass ended; returns what to exit with."""
    if json:
        give(shape.told(state))
    elif state.result is not None:
        say(sentence(state.result))
    else:
        complain(f"The pass was {state.standing}.", state.fault)
    return DONE if state.standing is Standing.DONE else REFUSED
