"""`audit`: hash every image again, or say what the last audit found and which images fail."""

from argparse import Namespace
from collections.abc import Sequence

from server.api.fixity import AuditOut, FailingOut, FixityOut
from server.api.work import FixityAuditOut
from server.catalog.fixity import WHAT_TO_DO
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
        failing = FixityOut.of(work).failing
    _complain_of(failing)
    return REFUSED if failing else code


def _sentence(result: dict[str, int]) -> str:
    images, failing, mended = (result[name] for name in ("images", "failing", "mended"))
    return f"{images:,} images hashed again, {failing:,} failing, {mended:,} of these mended."


@plainly
def last(args: Namespace) -> int:
    """Say what the last audit found and which images fail now; refused if any does."""
    with working(writes=False) as work:
        found = FixityOut.of(work)
    if args.json:
        give(found)
    else:
        _say_last(found.audits)
        _complain_of(found.failing)
    return REFUSED if found.failing else DONE


def _say_last(audits: Sequence[AuditOut]) -> None:
    if not audits:
        say("No fixity audit has come to its end yet.")
        return
    audit = audits[0]
    counts = {"images": audit.images, "failing": audit.failing, "mended": audit.mended}
    say(f"The last full audit ended {audit.ended:%Y-%m-%d %H:%M} UTC: {_sentence(counts)}")


def _complain_of(failing: Sequence[FailingOut]) -> None:
    for each in failing:
        found = each.failure
        complain(
            f"{found.sha256}  {each.title}: the held frames are not those of its name since "
            f"{found.since:%Y-%m-%d}: {found.detail}."
        )
    if failing:
        complain(WHAT_TO_DO)
