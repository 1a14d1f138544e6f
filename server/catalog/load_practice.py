"""How tapes are usually loaded, by what must be in the machine first: the start of a load sheet.

All of it is common practice, no source; whoever knows the machine writes what is right for it.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from server.catalog.vocabulary import Condition, Medium
from server.tape.anatomy import BOOTSTRAP
from server.tape.formats.base import Loader

SOURCE: Final = "common practice, no source"

_UNKNOWN_START: Final = "The tape does not say where the program starts: look in its notes."


@dataclass(frozen=True, slots=True)
class Practice:
    """What is usual for one kind of tape.

    In the texts, {format} stands for what the format is called, {ranges} for the addresses
    loaded and {entry} for where the program starts. `start` is the last step, and `start_unknown`
    takes its place where the tape names no entry address.
    """

    needs: str
    steps: tuple[str, ...]
    worked: str
    start: str = ""
    start_unknown: str = ""
    key_in: bool = False
    """Whether a bootstrap is keyed in, so that a sheet without one lacks something."""


_LAY: Final = "Lay the tape in the stopped reader as “Tape and reader” says."

_PANEL_START: Final = "Stop the machine, set the switches to {entry}, load the address, and start."

PRACTICES: Final[Mapping[tuple[Loader, str], Practice]] = MappingProxyType(
    {
        (Loader.KEYED_BOOTSTRAP, ""): Practice(
            needs="A bootstrap keyed in at the panel that takes {format}.",
            steps=(
                "Switch the machine on as its own manual says, and stop it.",
                "Key in the bootstrap, then read back every cell before going on.",
                _LAY,
                "Set the switches to where the bootstrap starts, load the address, and start.",
                "Start the reader. When the trailer has come, stop the reader and the machine.",
            ),
            worked="The tape ran to its trailer, and the first and last cells of {ranges} hold"
            " what the listing says.",
            start=_PANEL_START,
            start_unknown=_UNKNOWN_START,
            key_in=True,
        ),
        (Loader.KEYED_BOOTSTRAP, "raw-binary"): Practice(
            needs="A bootstrap keyed in at the panel that stores frame after frame as it comes.",
            steps=(
                "Switch the machine on as its own manual says, and stop it.",
                "Find out where the program belongs: this tape does not say it.",
                "Key in the bootstrap with that address, then read back every cell.",
                (
                    "Lay the tape with the first frame of the program at the reading station, not"
                    " the leader, unless the bootstrap skips blank frames."
                ),
                "Set the switches to where the bootstrap starts, load the address, and start.",
                "Start the reader. When the trailer has come, stop the reader and the machine.",
            ),
            worked="The tape ran to its trailer, and the first and last cells hold what the"
            " listing says.",
            start=_PANEL_START,
            start_unknown="Set the switches to where the program starts, and start it.",
            key_in=True,
        ),
        (Loader.CHECKSUM_LOADER, BOOTSTRAP): Practice(
            needs="A short bootstrap keyed in at the panel, which takes in the first stage that"
            " stands on this tape before the blocks.",
            steps=(
                "Switch the machine on as its own manual says, and stop it.",
                "Key in the bootstrap, then read back every cell before going on.",
                _LAY,
                "Set the switches to where the bootstrap starts, load the address, and start.",
                "Start the reader. The first stage comes in, then takes the blocks by itself.",
                "If it stops at a block, stop the reader, wind back before that block, and go on.",
            ),
            worked="The loader stops, or starts the program, at the end of the tape without an"
            " error.",
            start=_PANEL_START,
            start_unknown=_UNKNOWN_START,
            key_in=True,
        ),
        (Loader.CHECKSUM_LOADER, ""): Practice(
            needs="The checksum loader for {format}, loaded before and not written over.",
            steps=(
                "Load the checksum loader by its own sheet, if it is not in the machine.",
                _LAY,
                "Start the loader as its own sheet says, then the reader.",
                (
                    "If it stops at a block, its checksum failed: stop the reader, wind back before"
                    " that block, and let the loader go on."
                ),
            ),
            worked="The loader stops, or starts the program, at the end of the tape without an"
            " error.",
            start=_PANEL_START,
            start_unknown=_UNKNOWN_START,
        ),
        (Loader.ROM_MONITOR, ""): Practice(
            needs="A monitor in ROM, or loaded before, that reads {format}.",
            steps=(
                "Start the monitor and wait for its prompt.",
                _LAY,
                "Give the monitor's command that reads a tape, then start the reader.",
                (
                    "If it reports a checksum, stop the reader, wind back some records, and give"
                    " the command again: records may come twice."
                ),
            ),
            worked="The prompt comes back without an error, and the monitor shows the first and"
            " last cells of {ranges} as the listing does.",
            start="Give the monitor's command that starts a program, with the address {entry}.",
            start_unknown=_UNKNOWN_START,
        ),
        (Loader.LANGUAGE_INTERPRETER, "crunched-basic"): Practice(
            needs="The interpreter that this was saved from ({dialect}), running.",
            steps=(
                "Load and start the interpreter by its own sheet, and wait for its prompt.",
                "Clear whatever program is in it.",
                _LAY,
                (
                    "Give the command that loads a program by its name. Loading by name looks at"
                    " the first character of the name only."
                ),
                "Start the reader, and stop it when the prompt is back.",
                "List the program, and compare its first and last lines with the listing.",
            ),
            worked="The prompt comes back, and the program lists as the library's listing does.",
            start="Run the program.",
            start_unknown="Run the program.",
        ),
        (Loader.LANGUAGE_INTERPRETER, ""): Practice(
            needs="An interpreter for the language of the listing, running.",
            steps=(
                "Load and start the interpreter by its own sheet, and wait for its prompt.",
                "Clear whatever program is in it.",
                _LAY,
                (
                    "Start the reader: the lines go in as if they were typed. Let the machine stop"
                    " the reader at each line, or choose a rate at which it keeps up."
                ),
                "List the program, and compare its first and last lines with the listing.",
            ),
            worked="No error was printed, and the program lists as the library's listing does.",
            start="Run the program.",
            start_unknown="Run the program.",
        ),
        (Loader.NONE, "nc-program"): Practice(
            needs="Nothing but the control of the machine tool, set to take a program from tape.",
            steps=(
                "Have whoever is trained on the machine tool do this, by its own manual.",
                _LAY,
                "Let the control read to the end without moving anything, if it can.",
                "Make the first pass without a workpiece, one block at a time.",
            ),
            worked="The control reads to the stop code and reports no parity error.",
        ),
        (Loader.NONE, ""): Practice(
            needs="Nothing: a teleprinter, or any reader with a printer, takes it.",
            steps=(
                "Set the teleprinter to local, so that nothing but it takes the tape.",
                _LAY,
                "Start the reader, and stop it when the trailer has come.",
            ),
            worked="The text is printed as the library's listing has it.",
        ),
        (Loader.UNKNOWN, ""): Practice(
            needs="Not known: nobody has written down how this tape is loaded.",
            steps=(
                "Ask who gave the tape, and read its notes, before anything is run.",
                "Write what is found out on this sheet.",
            ),
            worked="Not known yet.",
        ),
    }
)
"""By loader requirement and, where that matters, the format, or that a first stage comes first."""

STANDING: Final = (
    (
        "Running tape cuts, and reader, winder and punch draw in fingers, hair, sleeves and cords:"
        " keep clear, guards on, and never brake tape by hand."
    ),
    "Mains is inside: covers stay on; local codes come first, and only licensed people open it.",
    "Brittle, torn or mouldy tape is not run: use a punched copy, and ask a conservator.",
)
"""Cautions on every sheet; nobody can take them off it."""

OF_MEDIUM: Final[Mapping[str, str]] = MappingProxyType(
    {
        Medium.POLYESTER: "Polyester does not tear: its edge cuts, and a jam breaks the reader.",
        Medium.FOIL_LAMINATE: "Foil laminate cuts like a blade, and its layers may part.",
        Medium.OILED_PAPER: "Oiled paper stains its neighbours and can gum up an optical reader.",
    }
)

OF_CONDITION: Final[Mapping[Condition, str]] = MappingProxyType(
    {
        Condition.FRAGILE: "fragile: run a punched copy, not this tape",
        Condition.UNFIT: "unfit for a reader: do not run it",
    }
)

NC_CAUTION: Final = (
    "A machine tool moves fast and unasked: everybody out of its reach, emergency stop at hand."
)


def practice_for(loader: str, format_name: str) -> Practice:
    """What is usual for a tape with that loader requirement, in that format."""
    return next(PRACTICES[key] for key in _keys(Loader(loader), format_name) if key in PRACTICES)


def _keys(loader: Loader, format_name: str) -> Iterator[tuple[Loader, str]]:
    yield loader, format_name
    if format_name.startswith(BOOTSTRAP):
        yield loader, BOOTSTRAP
    yield loader, ""
