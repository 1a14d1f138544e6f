"""`send`: the readings that wait in the outbox go to the archive, each once."""

from argparse import Namespace

from server.commands.at_the_machine import archive_of, at_the_machine, outbox_of, send_what_waits
from server.commands.console import DONE, complain, say, table
from server.station.errors import NotPossible
from server.station.outbox import Outbox


@at_the_machine
def run(args: Namespace) -> int:
    """Send what waits, or only list it."""
    outbox = outbox_of(args)
    _say_left_over(outbox)
    if args.list:
        return _list(outbox)
    archive = archive_of(args)
    if archive is None:
        raise NotPossible(
            "No archive is named.", mend="Give --archive URL, or set FEEDHOLE_ARCHIVE."
        )
    if not outbox.waiting():
        say("Nothing waits.")
        return DONE
    return send_what_waits(outbox, archive)


def _list(outbox: Outbox) -> int:
    rows = [
        (each.about.file_name, f"{each.about.frames:,}", each.about.tape, each.about.read_on)
        for each in outbox.waiting()
    ]
    say(*(table(("reading", "frames", "tape", "read on"), rows) if rows else ["Nothing waits."]))
    return DONE


def _say_left_over(outbox: Outbox) -> None:
    for path in outbox.left_over():
        complain(
            f"{path} lies in the outbox with nothing said of it.",
            "A reading was interrupted while it was put there; the file that was read to has it.",
        )
