"""From the outbox to the archive, each reading once, whatever happens in between.

A reading may have been entered without our knowing: the answer was lost, or the machine stopped
before it could be written down. So the archive is asked first: where it holds the image with a
reading of that very name, there is nothing to send.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from server.station.archive import Archive
from server.station.errors import NotPossible, Refused, StationError
from server.station.outbox import Outbox, Waiting


@dataclass(frozen=True, slots=True)
class Sent:
    """What became of one reading; `problem` is None where the archive has it now."""

    waiting: Waiting
    held: bool = False
    repeated: bool = False
    notes: tuple[str, ...] = ()
    problem: StationError | None = None


def send_all(outbox: Outbox, archive: Archive) -> Iterator[Sent]:
    """Send what waits; one that is refused does not stop the rest.

    Raises:
        Unreachable: the archive does not answer; what was not sent waits on.
        NotPossible: somebody else is sending, or what is said of a reading cannot be read.
    """
    with outbox.alone():
        for waiting in outbox.waiting():
            try:
                yield _send(outbox, archive, waiting)
            except (Refused, NotPossible) as problem:
                yield Sent(waiting, problem=problem)


def _send(outbox: Outbox, archive: Archive, waiting: Waiting) -> Sent:
    about = waiting.about
    frames = waiting.frames
    readings = archive.readings(about.sha256)
    known = next((each for each in readings or () if _is_this(each, waiting)), None)
    if known is not None:
        outbox.mark_sent(waiting, {"sha256": about.sha256, "reading": known.get("id")})
        return Sent(waiting, held=True, repeated=True)
    receipt = archive.send(frames, about.file_name, about.fields)
    told = ("sha256", "held", "reading", "tape")
    outbox.mark_sent(waiting, {name: receipt.get(name) for name in told})
    notes = tuple(str(note) for note in receipt.get("notes", ()))
    return Sent(waiting, held=bool(receipt.get("held")), notes=notes)


def _is_this(reading: Mapping[str, Any], waiting: Waiting) -> bool:
    about = waiting.about
    return (
        reading.get("file_name") == about.file_name
        and (reading.get("tape") or "").casefold() == about.tape.casefold()
        and (reading.get("reader") or "") == about.reader
    )
