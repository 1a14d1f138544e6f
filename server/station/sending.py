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
from server.station.outbox import About, Outbox, Waiting


@dataclass(frozen=True, slots=True)
class Sent:
    """What became of one reading; `problem` is None where the archive has it now.

    `status` is that of the punching which the reading reads back, `tape` what it was entered for.
    """

    waiting: Waiting
    held: bool = False
    repeated: bool = False
    notes: tuple[str, ...] = ()
    status: str = ""
    tape: str = ""
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
    known = _known(archive, about)
    if known is not None:
        outbox.mark_sent(waiting, {"sha256": about.sha256, "reading": known.get("id")})
        return Sent(waiting, held=True, repeated=True)
    receipt = archive.send(frames, about.file_name, about.fields, about.punching)
    told = ("sha256", "held", "reading", "tape", "status")
    outbox.mark_sent(waiting, {name: receipt[name] for name in told if name in receipt})
    notes = tuple(str(note) for note in receipt.get("notes", ()))
    return Sent(
        waiting,
        held=bool(receipt.get("held")),
        notes=notes,
        status=str(receipt.get("status", "")),
        tape=str(receipt.get("tape") or ""),
    )


def _known(archive: Archive, about: About) -> Mapping[str, Any] | None:
    """The reading as the archive has it; None where it has not."""
    if about.punching is not None:
        given = archive.read_backs(about.punching)
        return next((each for each in given if _same(each, about, ("file_name", "sha256"))), None)
    given = archive.readings(about.sha256)
    return next(
        (each for each in given if _same(each, about, ("file_name", "tape", "reader"))), None
    )


def _same(reading: Mapping[str, Any], about: About, names: tuple[str, ...]) -> bool:
    return all((reading.get(name) or "") == getattr(about, name) for name in names)
