"""`audit`: hash every image again, or say what the last audit found and which images fail."""

from argparse import Namespace
from collections.abc import Sequence

from server.api.fixity import FixityOut
from server.api.work import FixityAuditOut
from server.catalog import fixity
from server.catalog.fixity import WHAT_TO_DO, FailingImage
from server.commands.archive import plainly, working
from server.commands.console import DONE, REFUSED, complain, give, say
from server.commands.whole_library import tell, to_its_end
from server.jobs.state import Pass


def run(args: Namespace) -> int:
    """Hash every image again, or only say what the last audit found."""
    return last(args) if args.last else everything(args)


@plainly
def everything(args: Namespace) -> int:
    """Hash every image again; refused if any fails in the end."""
    state = to_its_end(args, Pass.FIXITY, "images hashed")
    code = tell(state, FixityAuditOut, _sentence, json=args.json)
    with working(writes=False) as work:
        failing = fixity.failing_images(work)
    _complain_of(failing)
    return REFUSED if failing else code


def _sentence(result: dict[str, int]) -> str:
    images, failing, mended = (result[name] for name in ("images", "failing", "mended"))
    return f"{images:,} images hashed again, {failing:,} failing, {mended:,} of these mended."


@plainly
def last(args: Namespace) -> int:
    """Say what the last audit found and which images fail now; refused if any does."""
    with working(writes=False) as work:
        audit, failing = fixity.last_audit(work), fixity.failing_images(work)
        if args.json:
            give(FixityOut.of(work))
    if args.json:
        return REFUSED if failing else DONE
    if audit is None:
        say("No fixity audit has come to its end yet.")
    else:
        counts = {"images": audit.images, "failing": audit.failing, "mended": audit.mended}
        say(f"The last full audit ended {audit.ended:%Y-%m-%d %H:%M} UTC: {_sentence(counts)}")
    _complain_of(failing)
    return REFUSED if failing else DONE


def _complain_of(failing: Sequence[FailingImage]) -> None:
    for each in failing:
        found = each.failure
        complain(
            f"{found.sha256}  {each.title}: the held frames are not those of its name since "
            f"{found.since:%Y-%m-%d}: {found.detail}."
        )
    if failing:
        complain(WHAT_TO_DO)
