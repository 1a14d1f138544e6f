"""`kin`: what an image resembles, and the pass that finds kin in everything."""

import time
from argparse import Namespace
from typing import Final

from server.api.models import KinOut
from server.api.work import PassOut
from server.catalog import images
from server.catalog.work import COMMAND
from server.commands.archive import plainly, working
from server.commands.console import DONE, REFUSED, complain, give, say
from server.jobs.background import Background
from server.jobs.state import PassState, Standing
from server.settings import Settings

POLL_SECONDS: Final = 0.5


def run(args: Namespace) -> int:
    """Find kin in everything, or list those of one image."""
    return everything(args) if args.everything else of_image(args)


@plainly
def of_image(args: Namespace) -> int:
    """List what an image resembles, the nearest first."""
    with working(writes=False) as work:
        found = images.kin(work, args.sha256)
    for each in found:
        if args.json:
            give(KinOut.model_validate(each))
        else:
            say(f"{each.sha256}  {each.kinship}  {each.title}: {each.description}")
    if not found and not args.json:
        say("Nothing held resembles it.")
    return DONE


@plainly
def everything(args: Namespace) -> int:
    """Find kin in everything, and say how far it is; started again, it goes on where it was."""
    with working(writes=False):
        pass  # refuses a database of another release before anything begins
    with Background(Settings()) as background:
        background.take_over()
        state = background.find_kin(COMMAND.name)
        told = -1
        while not state.standing.is_over:
            if state.progress.done != told and not args.json:
                told = state.progress.done
                say(f"{told:,} of {state.progress.of:,} looks taken")
            time.sleep(POLL_SECONDS)
            state = background.last_pass() or state
    return _over(state, as_json=args.json)


def _over(state: PassState, *, as_json: bool) -> int:
    if as_json:
        give(PassOut.told(state))
    elif state.result is not None:
        images_, pairs = state.result["images"], state.result["pairs"]
        say(f"{images_:,} images looked at, {pairs:,} pairs of kin recorded.")
    else:
        complain(f"The pass was {state.standing}.", state.fault)
    return DONE if state.standing is Standing.DONE else REFUSED
