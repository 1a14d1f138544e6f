"""What can be said to `read`, `punch` and `send`; imports nothing that the machine needs."""

from argparse import ArgumentParser, ArgumentTypeError, RawDescriptionHelpFormatter
from collections.abc import Callable
from typing import Any

Add = Callable[[Any, str, str, str], ArgumentParser]

LEVELS = (5, 6, 7, 8)

STATUSES = """\
exit status:
  0    done
  1    refused: by the archive, or because the frames are not those that were meant
  2    called with something unusable, or the port cannot be opened; nothing was started
  3    ended before the tape did: the line failed or went quiet; what came in or went out is told
  4    the archive cannot be reached; what was read waits in the outbox
  130  stopped by Ctrl-C, safely; a second Ctrl-C stops at once
"""


def add_station(commands: Any, add: Add) -> None:
    """Add the commands of the station."""
    _add_read(_with_statuses(add(commands, "read", "read:run", "read a tape over a serial line")))
    _add_punch(
        _with_statuses(add(commands, "punch", "punch:run", "punch a tape over a serial line"))
    )
    send = _with_statuses(add(commands, "send", "send:run", "send the readings that wait"))
    send.add_argument("--list", action="store_true", help="only say what waits")
    _archive(send)
    _outbox(send)


def _with_statuses(command: ArgumentParser) -> ArgumentParser:
    command.epilog = STATUSES
    command.formatter_class = RawDescriptionHelpFormatter
    return command


def _line(command: ArgumentParser) -> None:
    line = command.add_argument_group("the line")
    line.add_argument("--baud", type=_count, default=110, help="(%(default)s)")
    line.add_argument(
        "--data-bits", type=int, choices=LEVELS, default=8, help="as many as the tape has levels"
    )
    line.add_argument(
        "--parity",
        choices=("none", "even", "odd", "mark", "space"),
        default="none",
        help="of the line; parity that is punched in channel 8 is a data bit (%(default)s)",
    )
    line.add_argument(
        "--stop-bits", type=float, choices=(1, 1.5, 2), help="(2 at 110 baud and below, else 1)"
    )
    line.add_argument(
        "--flow",
        choices=("none", "xon-xoff", "rts-cts"),
        default="none",
        help="how one end holds the other back; no xon-xoff to a punch that echoes (%(default)s)",
    )
    line.add_argument(
        "--rate", type=_amount, help="frames a second of the machine (what the line carries)"
    )
    line.add_argument(
        "--patience",
        type=_amount,
        default=120.0,
        metavar="SECONDS",
        help="for the first frame to come, or for a punch that takes nothing (%(default)g)",
    )


def _archive(command: ArgumentParser) -> None:
    command.add_argument("--archive", metavar="URL", help="the archive (FEEDHOLE_ARCHIVE)")
    command.add_argument(
        "--token-file", metavar="FILE", help="its first line is the token (FEEDHOLE_TOKEN_FILE)"
    )


def _outbox(command: ArgumentParser) -> None:
    command.add_argument("--outbox", metavar="FOLDER", help="what waits (FEEDHOLE_OUTBOX)")


def _add_read(read: ArgumentParser) -> None:
    read.add_argument("port", metavar="PORT", help="such as /dev/ttyUSB0")
    read.add_argument("file", metavar="FILE", help="what to read to; never written over")
    _line(read)
    when = read.add_argument_group("when to stop, besides Ctrl-C; 0 takes a reason away")
    when.add_argument(
        "--trailer",
        type=_whole,
        default=200,
        metavar="FRAMES",
        help="after so many blanks behind content; a binary tape may hold as many (%(default)s)",
    )
    when.add_argument(
        "--quiet",
        type=_amount_or_none,
        default=10.0,
        metavar="SECONDS",
        help="when nothing has come for so long (%(default)g)",
    )
    when.add_argument(
        "--frames", type=_whole, default=0, metavar="N", help="after so many frames in all"
    )
    read.add_argument(
        "--reader-control",
        action="store_true",
        help="start and stop the reader with DC1 and DC3",
    )
    again = read.add_argument_group("after a pass that ended too early")
    again.add_argument(
        "--resume", action="store_true", help="go on; feed the tape again from a foot before"
    )
    again.add_argument(
        "--from-frame",
        type=_whole,
        metavar="N",
        help="about the frame at which it is fed again; found out if not given",
    )
    again.add_argument(
        "--finish", action="store_true", help="read nothing more: what was read is the reading"
    )
    _add_reading(read)


def _add_reading(read: ArgumentParser) -> None:
    about = read.add_argument_group("the reading, and where it goes")
    about.add_argument("--tape", default="", metavar="NUMBER", help="accession number of the tape")
    about.add_argument(
        "--unasked",
        action="store_true",
        help="read although the archive cannot be asked whether the tape may be run",
    )
    about.add_argument("--levels", type=int, choices=LEVELS, help="found out if not given")
    about.add_argument("--reader", default="", metavar="NAME", help="the machine that reads")
    about.add_argument(
        "--read-back", type=_count, metavar="ID", help="it is the new tape of that punching"
    )
    about.add_argument("--no-send", action="store_true", help="only write the file")
    _archive(read)
    _outbox(read)


def _add_punch(punch: ArgumentParser) -> None:
    punch.add_argument("port", metavar="PORT", help="such as /dev/ttyUSB0")
    punch.add_argument(
        "source", metavar="SOURCE", help="a file, or the address of frames in an archive"
    )
    _line(punch)
    punch.add_argument("--sha256", default="", metavar="HEX", help="what the frames must have")
    punch.add_argument("--yes", action="store_true", help="start without asking")
    again = punch.add_argument_group("after a jam")
    again.add_argument(
        "--from-frame", type=_whole, default=0, metavar="N", help="go on there, counted from 0"
    )
    how = again.add_mutually_exclusive_group()
    how.add_argument(
        "--overlap", type=_whole, metavar="FRAMES", help="punch so many before it once more"
    )
    how.add_argument(
        "--fresh-leader", type=_whole, metavar="FRAMES", help="on a new piece, after so many blanks"
    )
    _archive(punch)


def _count(text: str) -> int:
    if not text.isdecimal() or not int(text):
        raise ArgumentTypeError(f"{text} is not a whole number above 0")
    return int(text)


def _whole(text: str) -> int:
    if not text.isdecimal():
        raise ArgumentTypeError(f"{text} is not a whole number")
    return int(text)


def _amount_or_none(text: str) -> float:
    return 0.0 if text == "0" else _amount(text)


def _amount(text: str) -> float:
    try:
        amount = float(text)
    except ValueError:
        amount = 0.0
    if not 0 < amount < 1e9:
        raise ArgumentTypeError(f"{text} is not a number above 0")
    return amount
