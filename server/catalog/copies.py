"""Copies: a tape that was punched and read back the same is accessioned as one."""

from dataclasses import replace

from sqlalchemy import select
from sqlmodel import col

from server.catalog import accession, tapes, verification
from server.catalog.accession import Examined
from server.catalog.held import SHORT_DIGEST, access_of, image_id_of, known, tape_of
from server.catalog.inputs import NAME_LENGTH
from server.catalog.punching_records import record, together
from server.catalog.punching_values import Status
from server.catalog.records import ImageRecord, Receipt
from server.catalog.tape_values import NewTape
from server.catalog.work import Work
from server.store.punching import Punching
from server.store.tapes import Tape
from server.tape.read_back import Comparison


def accession_copy(
    work: Work, row: Punching, source: ImageRecord, examined: Examined
) -> tuple[int, Receipt]:
    """Enter the tape punched from `source` in the register, and `examined` as a reading of it.

    Gives the id of the tape, and what became of the reading.
    """
    number = tapes.create(work, _new_tape(work, row, source, examined)).accession_number
    # A copy is as closed as what it was made from, before anything is known to be read from it.
    copy = tape_of(work, number, to_change=True)
    copy.access = access_of(work, image_id_of(work, source.sha256))
    work.session.flush()
    upload = examined.upload.model_copy(update={"tape": number})
    receipt = accession.accept(work, replace(examined, upload=upload))
    return known(copy.id), receipt


def _new_tape(work: Work, row: Punching, source: ImageRecord, examined: Examined) -> NewTape:
    """The new tape as a copy of what it was punched from."""
    punching = record(work, known(row.id))
    reel = f", reel {row.reel} of {row.reels}" if row.reels > 1 else ""
    version = punching.version
    what = f"version {version.label} of {version.title}" if version else source.title
    assert punching.punched_on is not None
    return NewTape(
        title=f"{punching.title[: NAME_LENGTH - len(reel)]}{reel}",
        program=version.program if version else _program_of(work, source),
        origin=f"Punched from {what}, image {source.sha256[:SHORT_DIGEST]}, as punching {row.id}.",
        medium=punching.medium,
        levels=row.levels,
        loader_requirement=_loader_requirement(work, row, source, examined),
        made=punching.punched_on.isoformat(),
        notes=row.note,
    )


def _program_of(work: Work, source: ImageRecord) -> int | None:
    """The program of the first tape that carries the image, if it is settled."""
    number = source.accession
    return None if number is None else tape_of(work, number).program_id


def _loader_requirement(work: Work, row: Punching, source: ImageRecord, examined: Examined) -> str:
    """What a person wrote of the tape copied, if the format is still the same; else the decoder."""
    if row.format == source.format:
        said = work.session.scalars(
            select(col(Tape.loader_requirement)).where(
                col(Tape.accession_number).in_([each.accession_number for each in source.tapes])
            )
        )
        found = next((each for each in said if each), "")
        if found:
            return found
    return str(examined.decoded.decoding.loader)


def vouch(
    work: Work, row: Punching, source: ImageRecord, receipt: Receipt, comparison: Comparison
) -> None:
    """Say of the image read, and of the one punched from once all reels are there, why to trust.

    Reading back proves the punching, not what was punched: where nothing vouches for the image
    that was punched from, nothing is said of either.
    """
    if not source.verification.verified:
        return
    sha256 = receipt.image.sha256
    evidence = (
        f"Punching {row.id} from image {source.sha256[:SHORT_DIGEST]}: tape {receipt.tape} was"
        f" read back, and {comparison.compared:,} frames are as prepared."
    )
    facts = {
        "punching": row.id,
        "image": source.sha256,
        "tape": receipt.tape,
        "read": sha256,
        "compared": comparison.compared,
        "changes": row.changes,
    }
    verification.record_read_back(work, sha256, evidence, facts)
    reels = together(work, row)
    if sha256 != source.sha256 and all(each.status is Status.SAME for each in reels):
        verification.record_read_back(work, source.sha256, evidence, facts)
