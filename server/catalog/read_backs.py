"""Reading a punched tape back: the step in which it becomes a tape of the library, or does not.

Two steps, as with an upload: `compare` is slow and holds no lock, `settle` writes all down in
one transaction. What differs is kept with the punching as evidence, and becomes no image.
"""

from dataclasses import dataclass
from typing import Any, Final

from server.catalog import accession, copies, events, images, read_back_words
from server.catalog.accession import Examined, Upload
from server.catalog.errors import Conflict, TooLarge, refused
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known
from server.catalog.punching_records import move, punching_of, record
from server.catalog.punching_values import PunchingRecord, ReadBackFile, Status
from server.catalog.uploads import plain_name
from server.catalog.work import Role, Work
from server.store.punching import Punching, ReadBack
from server.tape.errors import BadImage
from server.tape.formats import FORMATS, Formats
from server.tape.image import Image, Span
from server.tape.read_back import Comparison
from server.tape.read_back import compare as compared_with

READABLE: Final = (Status.PUNCHED, Status.DIFFERS)
"""Where a punching stands when its tape can be read back."""

IDENTICAL: Final = (
    "The file is byte for byte what was prepared, leader and trailer too. Make sure that it came"
    " from a reader, and is not the file that went to the punch."
)


@dataclass(frozen=True, slots=True)
class Compared:
    """A reading of a punched tape, compared; `examined` where it is the same."""

    punching_id: int
    file: ReadBackFile
    image: Image
    comparison: Comparison
    identical: bool
    examined: Examined | None


def compare(
    work: Work, punching_id: int, file: ReadBackFile, limit: int, formats: Formats = FORMATS
) -> Compared:
    """A reading against what was prepared: the slow part, in a transaction that only reads.

    Raises:
        NotFound: there is no such punching.
        Conflict: it does not wait to be read back.
        Invalid, TooLarge: the file is empty, over the limit, or was changed on the way.
    """
    work.actor.require(Role.VOLUNTEER)
    row = punching_of(work, punching_id)
    _require_readable(work, row)
    _require_file(work, file, limit)
    prepared = Image(row.frames, row.levels)
    comparison = compared_with(prepared, Span(row.data_start, row.data_stop), file.data)
    examined = None
    if comparison.same:
        upload = Upload(
            file_name=file.file_name,
            data=file.data,
            levels=row.levels,
            read_on=file.read_on,
            reader=file.reader,
            sha256=file.sha256,
        )
        examined = accession.meet(work, accession.examine(upload, limit, formats))
    return Compared(
        punching_id=punching_id,
        file=file,
        image=as_image(file.data, row.levels),
        comparison=comparison,
        identical=file.data == row.frames,
        examined=examined,
    )


def settle(work: Work, compared: Compared) -> PunchingRecord:
    """Write down how the reading compared; if it is the same, the tape becomes the library's.

    Then, in this one transaction, the tape is accessioned as a copy, the reading becomes one of
    it, and the punching, the image read and the image punched from say so.

    Raises:
        NotFound: there is no such punching.
        Conflict: somebody else has settled it meanwhile.
    """
    work.actor.require(Role.VOLUNTEER)
    row = _held_fast(work, compared.punching_id)
    _require_readable(work, row)
    if compared.examined is None:
        move(work, row, Status.DIFFERS)
        _keep(work, row, compared, reading_id=None)
        tape = None
    else:
        source = images.of_id(work, row.image_id)
        row.tape_id, receipt = copies.accession_copy(work, row, source, compared.examined)
        move(work, row, Status.SAME)
        _keep(work, row, compared, reading_id=receipt.reading_id)
        copies.vouch(work, row, source, receipt, compared.comparison)
        tape = receipt.tape
    _log(work, row, compared, tape)
    return record(work, known(row.id))


def _held_fast(work: Work, punching_id: int) -> Punching:
    """The punching, kept from everybody else, and the first reel of its program with it.

    So reels of one program are settled one after the other, and the last knows that it is.
    """
    first = punching_of(work, punching_id).first_id
    if first is not None:
        punching_of(work, first, to_change=True)
    return punching_of(work, punching_id, to_change=True)


def _keep(work: Work, row: Punching, compared: Compared, reading_id: int | None) -> None:
    file = compared.file
    work.session.add(
        ReadBack(
            punching_id=known(row.id),
            reading_id=reading_id,
            same=compared.comparison.same,
            comparison=read_back_words.as_words(compared.comparison),
            sha256=compared.image.sha256,
            size=len(file.data),
            file_name=plain_name(file.file_name),
            read_on=file.read_on,
            reader=file.reader,
            compared_at=work.now,
            compared_by_id=work.actor.person_id,
            frames=None if reading_id is not None else file.data,
        )
    )
    work.session.flush()


def _log(work: Work, row: Punching, compared: Compared, tape: str | None) -> None:
    """Tell of the comparison: on the punching, and on the tape that came of it."""
    comparison = compared.comparison
    facts: dict[str, Any] = {
        "read": compared.image.sha256,
        "frames": len(compared.file.data),
        "reader": compared.file.reader,
        "compared": comparison.compared,
        "differing": comparison.differing,
        "identical": compared.identical,
    }
    objects: list[tuple[ObjectKind, str | int]] = [(ObjectKind.PUNCHING, known(row.id))]
    if tape is not None:
        objects.append((ObjectKind.TAPE, tape))
    for kind, key in objects:
        events.record(
            work,
            EventType.VALIDATION,
            kind,
            key,
            outcome="success" if comparison.same else "exceptions found",
            detail=f"read back, compared with the frames of punching {row.id}: "
            + " ".join(read_back_words.sentences(comparison)),
            facts=facts,
        )


def _require_readable(work: Work, row: Punching) -> None:
    status = Status(row.status)
    if status in READABLE:
        return
    tape = record(work, known(row.id)).tape
    mend = {
        Status.PREPARED: "Say first on what it was punched, and when.",
        Status.SAME: f"Tape {tape} came of it. Begin another punching for another copy.",
        Status.GIVEN_UP: "Take it up again first.",
    }[status]
    raise Conflict(
        f"Punching {row.id} is “{status}” and cannot be read back.",
        where=f"punching {row.id}",
        mend=mend,
    )


def _require_file(work: Work, file: ReadBackFile, limit: int) -> None:
    if not file.data:
        raise refused("file", "The file is empty.", "Read the tape again.")
    if len(file.data) > limit:
        raise TooLarge(
            f"The file is over the limit of {limit:,} bytes.",
            limit=limit,
            where="file",
            mend="A reading has one byte a frame, and hardly more frames than were prepared.",
        )
    if file.sha256 is not None and file.sha256 != as_image(file.data, 8).sha256:
        raise refused(
            "sha256",
            "The SHA-256 of the file as it came is not as announced.",
            "Send the file again: it was changed on the way.",
        )
    if file.read_on is not None and work.is_to_come(file.read_on):
        raise refused(
            "read_on", f"{file.read_on} is still to come.", "Give the day of the reading."
        )


def as_image(frames: bytes, levels: int) -> Image:
    """A reading as an image: of 8 levels where it has holes that `levels` have no room for."""
    try:
        return Image(frames, levels)
    except BadImage:
        return Image(frames, 8)
