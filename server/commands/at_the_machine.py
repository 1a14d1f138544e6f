"""What the commands of the station share: the line, the archive, and clear words at the end."""

from argparse import Namespace
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Final

from server.commands.console import DONE, REFUSED, UNUSABLE, complain, say
from server.station.archive import Archive
from server.station.errors import (
    LineLost,
    NotAsMeant,
    NotPossible,
    PortUnusable,
    Refused,
    StationError,
    Unreachable,
)
from server.station.line_settings import Flow, LineParity, LineSettings
from server.station.outbox import Outbox
from server.station.sending import Sent, send_all
from server.station_settings import StationSettings

BROKEN_OFF, WAITS, STOPPED = 3, 4, 130
"""What a command exits with besides: ended before the tape did; the archive is away; Ctrl-C."""

_STATUSES: Final = {
    NotPossible: UNUSABLE,
    PortUnusable: UNUSABLE,
    LineLost: BROKEN_OFF,
    NotAsMeant: REFUSED,
    Refused: REFUSED,
    Unreachable: WAITS,
}

Command = Callable[[Namespace], int]


def at_the_machine(command: Command) -> Command:
    """`command`, but what stops it is said in plain words on the error stream."""

    @wraps(command)
    def run(args: Namespace) -> int:
        try:
            return command(args)
        except StationError as error:
            return tell(error)
        except OSError as error:
            complain(f"{error.filename or 'A file'}: {error.strerror or error}")
            return UNUSABLE

    return run


def tell(error: StationError) -> int:
    """Say what stopped it; returns what to exit with."""
    complain(error.what, error.mend)
    return _STATUSES[type(error)]


def line_settings(args: Namespace) -> LineSettings:
    """The line that the arguments describe."""
    return LineSettings(
        port=args.port,
        baud=args.baud,
        data_bits=args.data_bits,
        parity=LineParity(args.parity),
        stop_bits=args.stop_bits,
        flow=Flow(args.flow),
    )


def rate_of(args: Namespace, settings: LineSettings) -> float:
    """Frames a second of the machine.

    Raises:
        NotPossible: the line cannot carry so many.
    """
    most = settings.frames_per_second
    if args.rate is None:
        return most
    if args.rate > most:
        raise NotPossible(
            f"At {settings.baud} baud the line carries at most {most:,.1f} frames a second.",
            mend="Give a lower --rate, or a higher --baud at both ends.",
        )
    return float(args.rate)


def archive_of(args: Namespace) -> Archive | None:
    """The archive that arguments or settings name; None where none does."""
    settings = StationSettings()
    address = args.archive or settings.archive
    if not address:
        return None
    file = Path(args.token_file) if args.token_file else settings.token_file
    token = settings.token.get_secret_value()
    if args.token_file or not token:
        token = _first_line(file) if file else ""
    archive = Archive(address, token)
    if archive.in_the_clear:
        complain("The token goes over the network as plain text.", "Use an https address.")
    return archive


def _first_line(file: Path) -> str:
    with file.open(encoding="utf-8") as lines:
        return lines.readline().strip()


def outbox_of(args: Namespace) -> Outbox:
    """The folder of what waits."""
    return Outbox(Path(args.outbox) if args.outbox else StationSettings().outbox)


def send_what_waits(outbox: Outbox, archive: Archive) -> int:
    """Send all that waits, and say what became of each; returns what to exit with."""
    status = DONE
    try:
        for sent in send_all(outbox, archive):
            status = max(status, _say_sent(sent))
    except Unreachable as away:
        complain(
            away.what, f"{_waiting(outbox)}, and `python -m server send` sends later.", away.mend
        )
        return WAITS
    return status


def _waiting(outbox: Outbox) -> str:
    number = len(outbox.waiting())
    return f"{number} reading{'' if number == 1 else 's'} in {outbox.folder} will wait"


def _say_sent(sent: Sent) -> int:
    name = sent.waiting.about.file_name
    if sent.problem is not None:
        complain(
            f"{name} was refused: {sent.problem.what}", sent.problem.mend, "It waits in the outbox."
        )
        return REFUSED
    punching = sent.waiting.about.punching
    if sent.repeated:
        say(f"{name}: the archive has this reading already")
    elif punching is not None:
        tape = f", tape {sent.tape}" if sent.tape else ""
        say(f"{name}: sent to punching {punching}, which is now '{sent.status}'{tape}")
    else:
        image = "a new reading of an image that is held" if sent.held else "a new image"
        say(f"{name}: sent, {image}, {sent.waiting.about.sha256}", *(f"  {x}" for x in sent.notes))
    return DONE
