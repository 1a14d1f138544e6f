"""`kin`: what an image resembles, and the pass that finds kin in everything."""

from argparse import Namespace

from server.api.models import KinOut
from server.api.work import KinPassOut
from server.catalog import images
from server.commands.archive import plainly, working
from server.commands.console import DONE, give, say
from server.commands.whole_library import tell, to_its_end
from server.jobs.state import Pass


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
    state = to_its_end(args, Pass.KIN, "looks taken")
    return tell(state, KinPassOut, _sentence, json=args.json)


def _sentence(result: dict[str, int]) -> str:
    return f"{result['images']:,} images looked at, {result['pairs']:,} pairs of kin recorded."
