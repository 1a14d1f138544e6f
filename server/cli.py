"""The command line. Here is only what can be said; each command imports what it needs when run.

So `inspect` starts without the web framework and without a database.
"""

import os
import sys
from argparse import ArgumentParser, ArgumentTypeError, Namespace
from collections.abc import Callable, Sequence
from pkgutil import resolve_name
from typing import Any

from server.commands.console import complain
from server.commands.station_arguments import LEVELS, add_station

PROCESSORS = ("8080", "z80", "6502", "6800", "12-bit")
NOTATIONS = ("hex", "octal", "split-octal")

SEARCHED_BY = {
    "kind": "listing, tape or program",
    "format": "name of the format",
    "check-status": "sound, damaged or no-check",
    "verification": "why the image is trusted",
    "language": "language of the listing",
    "machine": "machine that the program is for",
    "loader": "what must be in the machine",
    "medium": "what the tape is made of",
    "condition": "how the tape stands",
    "place": "where the tape lies",
    "year": "year in which it may have been made",
    "contributor": "who entered or read it",
}
"""What narrows a search, as options; kept here so that the parser imports nothing."""

PATTERNS = ("usual", "blank", "rub-out", "channel-8")

PREPARED_BY = (
    ("leader-frames", "FRAMES", "length of the leader (60)"),
    ("trailer-frames", "FRAMES", "length of the trailer (60)"),
    ("lettering", "TEXT", "letters in the leader"),
    ("format", "NAME", "another format, such as s-record"),
    ("code", "NAME", "another character code, such as ita2"),
    ("parity", "RULE", "even, odd, mark or space"),
    ("dialect", "NAME", "dialect of a crunched program"),
    ("program-name", "LETTER", "name of a crunched program"),
    ("record-length", "BYTES", "most bytes in a record"),
    ("load-address", "ADDRESS", "hexadecimal, or octal behind 0o"),
    ("frames-per-reel", "FRAMES", "most frames on one reel"),
)
PREPARED_THOUGH = {
    "leave-entry-out": "let go of an entry address without a place",
    "accept-damage": "write damaged content anew all the same",
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command that `argv` gives; returns what to exit with.

    0 is done, 1 refused by the archive, 2 called with something unusable; those of the station
    have more, see `station_arguments`.
    """
    args = parser().parse_args(argv)
    run: Callable[[Namespace], int] = resolve_name(args.run)
    try:
        code = run(args)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read our output has seen enough; nothing more can be written, not even at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        complain("Stopped.")
        return 130
    return code


def parser() -> ArgumentParser:
    """The parser of all commands; `run` names the function that a command runs."""
    top = ArgumentParser(prog="python -m server", description="An archive of program tapes.")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    _add_inspect(commands)
    _add_merge(commands)
    _add_prepare(commands)
    _add_service(commands)
    _add_people(commands)
    _add_holdings(commands)
    add_station(commands, _add)
    return top


def _add(commands: Any, name: str, run: str, about: str) -> ArgumentParser:
    added: ArgumentParser = commands.add_parser(name, help=about, description=about)
    added.set_defaults(run=f"server.commands.{run}")
    return added


def _json(command: ArgumentParser) -> None:
    command.add_argument("--json", action="store_true", help="write JSON instead of text")


def _add_inspect(commands: Any) -> None:
    inspect = _add(commands, "inspect", "inspect:run", "say what image files hold")
    inspect.add_argument("files", nargs="+", metavar="FILE", help="an image; - is standard input")
    inspect.add_argument(
        "--levels", type=int, choices=LEVELS, help="code holes across; found out if not given"
    )
    inspect.add_argument("--code", action="store_true", help="add the code that the tape loads")
    inspect.add_argument(
        "--processor",
        choices=PROCESSORS,
        help="read the code for this one; found out if not given (implies --code)",
    )
    inspect.add_argument(
        "--notation",
        choices=NOTATIONS,
        help="how the code writes numbers; as its machine's people did if not given",
    )
    _json(inspect)


def _add_merge(commands: Any) -> None:
    merge = _add(commands, "merge", "merge:run", "make one image of several readings of a tape")
    merge.epilog = "Exits with 0 if the readings agree, 1 if not, 2 if they cannot be merged."
    merge.add_argument("files", nargs="+", metavar="FILE", help="an image; - is standard input")
    merge.add_argument(
        "-o",
        "--output",
        metavar="OUT",
        help="where to write the merged image; - is standard output",
    )
    merge.add_argument(
        "--levels", type=int, choices=LEVELS, help="code holes across; found out if not given"
    )
    _json(merge)


def _add_prepare(commands: Any) -> None:
    prepare = _add(commands, "prepare", "prepare:run", "make a tape ready for the punch")
    prepare.add_argument("what", metavar="WHAT", help="an image, or SHA-256 of one that is held")
    prepare.add_argument(
        "-o",
        "--output",
        metavar="OUT",
        help="where to write; - is standard output; several reels are numbered",
    )
    prepare.add_argument(
        "--held-levels", type=int, choices=LEVELS, help="of the image; found out if not given"
    )
    for name, metavar, what in PREPARED_BY:
        prepare.add_argument(f"--{name}", metavar=metavar, help=what)
    prepare.add_argument("--levels", type=int, choices=LEVELS, help="code holes of the new tape")
    for end in ("leader", "trailer"):
        prepare.add_argument(f"--{end}-pattern", choices=PATTERNS, help=f"what the {end} is of")
    for name, what in PREPARED_THOUGH.items():
        prepare.add_argument(f"--{name}", action="store_true", help=what)
    prepare.add_argument(
        "--rate", type=_rate, default=70, help="frames a second, for the time (%(default)s)"
    )
    prepare.add_argument(
        "--unverified", action="store_true", help="take it though nothing vouches for it"
    )
    _json(prepare)


def _add_service(commands: Any) -> None:
    serve = _add(commands, "serve", "service:serve", "serve the archive to browsers")
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on (%(default)s)")
    serve.add_argument("--port", type=_port, default=8000, help="port (%(default)s)")
    migrate = _add(commands, "migrate", "service:migrate", "bring the database up to date")
    migrate.add_argument(
        "--down", metavar="REVISION", help="take it back to a revision; 'base' empties it"
    )
    migrate.add_argument("--yes", action="store_true", help="really go down")
    demo = _add(commands, "demo", "demo:run", "load the library of an invented club, and serve it")
    demo.add_argument("--port", type=_port, default=8000, help="port (%(default)s)")
    demo.add_argument(
        "--database", metavar="URL", default="sqlite:///var/demo.db", help="where (%(default)s)"
    )
    demo.add_argument("--no-serve", action="store_true", help="only load it")


def _add_people(commands: Any) -> None:
    person = commands.add_parser("person", help="keep the list of people")
    actions = person.add_subparsers(title="actions", metavar="ACTION", required=True)
    add = _add(actions, "add", "people:add", "give somebody an account; the password is asked for")
    add.add_argument("name", metavar="NAME")
    add.add_argument(
        "--role",
        required=True,
        choices=("volunteer", "archivist", "administrator"),
        help="what the person may do; each includes those before it",
    )
    add.add_argument("--display-name", default="", help="the name shown to others")
    add.add_argument(
        "--password-stdin", action="store_true", help="read the password from standard input"
    )
    _json(add)
    _json(_add(actions, "list", "people:show", "list everybody with an account"))
    invite = _add(actions, "invite", "people:invite", "write the address at which somebody joins")
    invite.add_argument(
        "--role",
        default="volunteer",
        choices=("volunteer", "archivist", "administrator"),
        help="what the person may do (%(default)s)",
    )
    invite.add_argument("--note", default="", help="who is meant, for the list of invitations")
    invite.add_argument("--days", default=7, type=int, help="how long it holds (%(default)s)")
    token = _add(commands, "token", "people:token", "issue a token for a person's programs")
    token.add_argument("name", metavar="NAME")
    token.add_argument("--label", default="command line", help="what it is for (%(default)s)")
    token.add_argument(
        "--scope",
        action="append",
        metavar="SCOPE",
        help="what it may be used for, such as read or upload; all, if none is given",
    )


def _add_holdings(commands: Any) -> None:
    upload = _add(commands, "upload", "holdings:upload", "take in images")
    upload.add_argument("files", nargs="+", metavar="FILE")
    upload.add_argument("--tape", help="accession number of the tape that was read")
    upload.add_argument(
        "--levels", type=int, choices=LEVELS, help="code holes across; found out if not given"
    )
    _json(upload)
    search = _add(commands, "search", "searching:find", "find any run of characters")
    search.add_argument("text", metavar="TEXT")
    search.add_argument("--line", type=int, metavar="NUMBER", help="show that line of each listing")
    for name, what in SEARCHED_BY.items():
        search.add_argument(
            f"--{name}", action="append", metavar="VALUE", help=f"{what}; again for another value"
        )
    _json(search)
    found = _add(commands, "bytes", "searching:find_bytes", "find bytes in frames or loaded memory")
    found.add_argument(
        "bytes", metavar="BYTES", help="such as 'C3 ?? 01', '303 ??? 001' or '\"LOAD\" 0D'"
    )
    found.add_argument("--where", choices=("frames", "memory"), default="frames")
    found.add_argument("--base", choices=("auto", "hex", "octal"), default="auto")
    _json(found)
    example = _add(commands, "example", "searching:by_example", "what holds this?")
    example.add_argument("file", metavar="FILE", help="an image, or with --lines some lines")
    example.add_argument("--lines", action="store_true", help="the file holds lines of a listing")
    _json(example)
    tapes = commands.add_parser("tapes", help="the tapes held")
    actions = tapes.add_subparsers(title="actions", metavar="ACTION", required=True)
    listed = _add(actions, "list", "holdings:tapes_held", "list tapes")
    listed.add_argument("--page", type=int, default=1, help="page of the list (%(default)s)")
    _json(listed)
    queues = _add(commands, "queues", "queues:run", "what needs somebody's help")
    queues.add_argument("name", metavar="QUEUE", nargs="?", help="list what this one holds")
    queues.add_argument("--page", type=int, default=1, help="page of the list (%(default)s)")
    _json(queues)
    kin = _add(commands, "kin", "kin:run", "list what an image resembles, or find all kin anew")
    which = kin.add_mutually_exclusive_group(required=True)
    which.add_argument("sha256", metavar="SHA256", nargs="?")
    which.add_argument(
        "--everything", action="store_true", help="find kin in everything; goes on if interrupted"
    )
    _json(kin)
    audit = _add(commands, "audit", "audit:run", "hash every image again, to see that it is whole")
    audit.epilog = "Exits with 1 if an image fails and could not be mended."
    audit.add_argument(
        "--last", action="store_true", help="only say what the last one found, and what fails now"
    )
    _json(audit)
    sheet = _add(commands, "sheet", "sheet:show", "write the load sheet of a tape or an image")
    sheet.add_argument("what", metavar="WHAT", help="accession number, or SHA-256 of an image")
    sheet.add_argument(
        "--version", type=int, metavar="NUMBER", help="of this version; of the first if not given"
    )
    _json(sheet)
    download = _add(commands, "download", "holdings:download", "write the frames of an image")
    download.add_argument("sha256", metavar="SHA256")
    download.add_argument("file", metavar="FILE", help="where to write; - is standard output")
    download.add_argument(
        "--unverified", action="store_true", help="take it though nothing vouches for it"
    )


def _rate(text: str) -> float:
    try:
        rate = float(text)
    except ValueError:
        rate = 0
    if not 0 < rate <= 5000:
        raise ArgumentTypeError(f"{text} is no rate; give a number above 0 and up to 5000")
    return rate


def _port(text: str) -> int:
    if not text.isdecimal() or not 0 < int(text) < 65536:
        raise ArgumentTypeError(f"{text} is not a port; give a number from 1 to 65535")
    return int(text)
