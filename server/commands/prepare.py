"""`prepare`: a tape made ready for the punch, from a file, or from an image that is held."""

import sys
from argparse import Namespace
from collections.abc import Callable, Iterator
from pathlib import Path
from pkgutil import resolve_name

from server.catalog.dialects import formats_of
from server.catalog.errors import ArchiveError, Invalid
from server.catalog.inputs import DIGEST
from server.catalog.preparation_words import PreparationInput, invalid, of_words
from server.commands.console import (
    DONE,
    REFUSED,
    UNUSABLE,
    complain,
    give,
    labelled,
    say,
    table,
)
from server.commands.files import STANDARD_OUTPUT, read
from server.decoding_settings import DecodingSettings
from server.delivery.prepared_facts import PreparedFacts, ReelFacts
from server.delivery.words import duration, feet, metres
from server.tape.errors import BadImage, CannotPrepare
from server.tape.identify import decode
from server.tape.preparing import Preparation, Prepared, prepare


def run(args: Namespace) -> int:
    """Prepare `args.what`, say what it comes to, and write its reels where `args.output` says."""
    if DIGEST.fullmatch(args.what) and not Path(args.what).exists():
        # A file is prepared without a database, so what needs one is fetched only here.
        held: Callable[[Namespace], int] = resolve_name("server.commands.prepare_held:run")
        return held(args)
    try:
        return finish(args, _prepared(args, preparation_of(args)))
    except ArchiveError as error:
        complain(error.what, error.where and f"Where: {error.where}", error.mend)
        return REFUSED
    except BadImage as error:
        complain(f"{args.what}: {error.what}", f"To mend it: {error.mend}.")
    except OSError as error:
        complain(f"{error.filename or args.what}: {error.strerror or error}")
    return UNUSABLE


def preparation_of(args: Namespace) -> Preparation:
    """The preparation that the options ask for.

    Raises:
        Invalid: an option is out of its bounds.
    """
    options = {name: getattr(args, name) for name in PreparationInput.model_fields}
    return of_words({name: value for name, value in options.items() if value is not None})


def finish(args: Namespace, prepared: Prepared) -> int:
    """Write the reels where `args.output` says, and say what they come to.

    Raises:
        Invalid: several reels are to go to standard output.
        OSError: a file is there already, or cannot be written; then none is.
    """
    names = _names(args.output, len(prepared.reels)) if args.output else []
    if names == [STANDARD_OUTPUT]:
        sys.stdout.buffer.write(prepared.reels[0].frames)
        return DONE
    _write(names, prepared)
    facts = PreparedFacts.of(prepared, args.rate)
    if args.json:
        give(facts)
    else:
        say(*_told(facts, names))
    return DONE


def _prepared(args: Namespace, how: Preparation) -> Prepared:
    formats = formats_of(DecodingSettings().dialects)
    decoded = decode(read(args.what), args.held_levels, formats)
    try:
        return prepare(decoded, how, formats)
    except CannotPrepare as refused:
        raise invalid(refused) from None


def _names(output: str, reels: int) -> list[str]:
    """The file of each reel: its number is put before the ending where there are several."""
    if reels == 1:
        return [output]
    if output == STANDARD_OUTPUT:
        raise Invalid(
            f"There are {reels} reels, and one standard output.",
            where="output",
            mend="Give the name of a file; the number of each reel is put into it.",
        )
    path = Path(output)
    return [
        str(path.with_name(f"{path.stem}-{number}-of-{reels}{path.suffix}"))
        for number in range(1, reels + 1)
    ]


def _write(names: list[str], prepared: Prepared) -> None:
    """Write each reel to a file that is not there yet; all of them, or none."""
    written: list[Path] = []
    try:
        for name, reel in zip(names, prepared.reels, strict=False):
            with Path(name).open("xb") as file:
                written.append(Path(name))
                file.write(reel.frames)
    except OSError:
        for path in written:
            path.unlink(missing_ok=True)
        raise


def _told(facts: PreparedFacts, names: list[str]) -> Iterator[str]:
    punched = " ".join(filter(None, (facts.format, facts.code, facts.parity)))
    yield from labelled([("punched as", punched)])
    head = ("reel", "frames", "length", "roll", "folds", f"at {facts.rate:g} a second", "lettering")
    yield from table(head, map(_cells, facts.reels))
    yield "changed from the image:"
    yield from (f"  {each}" for each in facts.changes)
    if facts.cautions:
        yield "heed:"
        yield from (f"  {each}" for each in facts.cautions)
    yield (
        "A running punch cuts and draws in: guards on, loose things away, unplug before it is "
        "opened; local codes and the maker's manual come first."
    )
    for name, reel in zip(names, facts.reels, strict=False):
        yield f"{name}: {reel.frames:,} frames, SHA-256 {reel.sha256}"


def _cells(reel: ReelFacts) -> tuple[str, ...]:
    return (
        str(reel.number),
        f"{reel.frames:,}",
        f"{metres(reel.length_mm)} ({feet(reel.length_mm)})",
        f"{reel.roll_mm:.0f} mm",
        f"{reel.folds:.1f}",
        duration(reel.seconds),
        reel.lettering,
    )
