"""A held tape made ready for the punch: the same content, with leader, trailer and lettering.

Nothing is changed in what the archive holds; what differs on the prepared tape is said.
"""

from server.tape.errors import CannotPrepare
from server.tape.formats import FORMATS, Formats
from server.tape.identify import Decoded
from server.tape.material import Pattern
from server.tape.preparing.contents import Contents, contents_of
from server.tape.preparing.leader import legible
from server.tape.preparing.plan import Plan, dialects_of, plan_of, targets_of
from server.tape.preparing.preparation import Preparation
from server.tape.preparing.prepared import Prepared, Reel
from server.tape.preparing.reels import overhead, wound
from server.tape.preparing.told import cautions, changes

__all__ = [
    "CannotPrepare",
    "Pattern",
    "Preparation",
    "Prepared",
    "Reel",
    "dialects_of",
    "legible",
    "prepare",
    "targets_of",
]


def prepare(source: Decoded, how: Preparation, formats: Formats = FORMATS) -> Prepared:
    """The reels that carry what `source` carries, as `how` asks.

    Frames are punched as they are held unless something is asked for that they cannot give; then
    the content is written anew, read again, and refused if it would not say the same.

    Raises:
        CannotPrepare: something asked for is out of bounds, or would lose what the tape means;
            says what, and where on the tape.
    """
    how.check()
    plan = plan_of(source, how, formats)
    contents = _in_reels(plan)
    reels = wound(plan, contents.reels)
    return Prepared(
        reels=reels,
        changes=tuple(changes(plan, contents, reels)),
        cautions=tuple(cautions(plan, contents, reels)),
        format=plan.format.name,
        code=plan.code,
        parity=plan.parity,
    )


def _in_reels(plan: Plan) -> Contents:
    """The content, in as many reels as it takes; their number is lettered, so it takes room."""
    if plan.how.frames_per_reel is None:
        return contents_of(plan, None)
    reels = 1
    while True:
        contents = contents_of(plan, plan.how.frames_per_reel - overhead(plan, reels))
        if len(contents.reels) <= reels:
            return contents
        # One more at least, so that this comes to an end.
        reels = len(contents.reels)
