"""Accession: an upload becomes an image, a reading, a decoding and their kin, or nothing at all.

Three steps, so that the slow ones hold no lock: `examine` works out what the bytes are, `meet`
compares them with what they resemble, `accept` writes all down in one transaction.
"""

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import decodings, events, images, kinship, mending, running, verification
from server.catalog.errors import Gone, Invalid, NotAllowed, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, tape_of
from server.catalog.records import Receipt
from server.catalog.uploads import Examined, Upload, examine
from server.catalog.vocabulary import CAUTIONS, Hazard
from server.catalog.work import Role, Work
from server.store import loaded, search, turns
from server.store.images import Decoding, ImageRow, Reading
from server.store.sight import lifted
from server.store.tapes import Tape
from server.tape.findings import CheckStatus
from server.tape.identify import DECODER_RELEASE

__all__ = ["Examined", "Upload", "accept", "examine", "meet"]

_DECODER = f"decoder {DECODER_RELEASE}"


def meet(work: Work, examined: Examined) -> Examined:
    """The upload, compared with what it resembles, so that `accept` has less to do.

    For a transaction that only reads: comparing long listings takes time, during which nobody
    else should have to wait. Leaving it out changes nothing but that.
    """
    # What is closed to whoever uploads is kin all the same, only not shown to them.
    with lifted(work.session):
        if _held(work, examined.decoded.image.sha256) is not None:
            return examined
        return replace(examined, met=kinship.meet(work, examined.form, examined.fingerprints))


def accept(work: Work, examined: Examined, merged_from: Sequence[int] = ()) -> Receipt:
    """Take an examined upload in: a new image, or a new reading of one that is held.

    An image that was `merged_from` readings is no pass of its own, and is logged as what it is.

    Raises:
        Invalid: there is no such tape.
        NotAllowed: the image is held, and is closed to the actor even with this reading.
    """
    work.actor.require(Role.VOLUNTEER)
    tape = _tape(work, examined)
    image_id, held = _keep_image(work, examined)
    reading = _keep_reading(work, examined, image_id, tape)
    _require_seen(work, image_id)
    if held:
        mending.mend_by_upload(work, examined.decoded.image.sha256, examined.decoded.image.frames)
    else:
        _keep_decoding(work, examined, image_id)
    _log(work, examined, tape, merged_from, held=held)
    told = _of_running(work, examined, tape, merged_from)
    image = images.of_id(work, image_id)
    return Receipt(
        image=image,
        held=held,
        duplicate_of=image.sha256 if held else _same_content(work, examined, image_id),
        kin=kinship.of(work, image_id),
        reading_id=known(reading.id),
        tape=tape.accession_number if tape else None,
        notes=(*_notes(examined, image.levels, tape), *told),
    )


def _tape(work: Work, examined: Examined) -> Tape | None:
    number = examined.upload.tape
    if number is None:
        return None
    try:
        return tape_of(work, number, to_change=True)
    except (NotFound, Gone) as missing:
        raise Invalid(
            missing.what, where="tape", mend=missing.mend, fields={"tape": missing.what}
        ) from None


def _keep_image(work: Work, examined: Examined) -> tuple[int, bool]:
    """The id of the image, and whether it was held before."""
    image = examined.decoded.image
    sha256 = image.sha256
    with lifted(work.session):
        found = _held(work, sha256)
    if found is not None:
        return found, True
    row = ImageRow(
        sha256=sha256,
        size=len(image),
        levels=image.levels,
        created_at=work.now,
        frames=image.frames,
    )
    try:
        with work.session.begin_nested():
            work.session.add(row)
    except IntegrityError:
        # Somebody else sent the same image at the same moment, and was first.
        with lifted(work.session):
            found = _held(work, sha256)
        if found is None:
            raise
        return found, True
    return known(row.id), False


def _held(work: Work, sha256: str) -> int | None:
    return work.session.scalar(select(col(ImageRow.id)).where(col(ImageRow.sha256) == sha256))


def _require_seen(work: Work, image_id: int) -> None:
    """Refuse what somebody closed before: nothing of it may be told."""
    seen = select(col(ImageRow.id)).where(col(ImageRow.id) == image_id)
    if work.session.scalar(seen) is None:
        raise NotAllowed(
            "These frames are held already, and closed to your role.",
            where="file",
            mend="Ask an archivist to take this reading in.",
        )


def _keep_reading(work: Work, examined: Examined, image_id: int, tape: Tape | None) -> Reading:
    reading = Reading(
        image_id=image_id,
        tape_id=tape.id if tape else None,
        file_name=examined.file_name,
        read_on=examined.upload.read_on,
        reader=examined.upload.reader,
        accepted_at=work.now,
        accepted_by_id=work.actor.person_id,
    )
    work.session.add(reading)
    work.session.flush()
    return reading


def _keep_decoding(work: Work, examined: Examined, image_id: int) -> None:
    decoded = examined.decoded
    work.session.add(decodings.to_row(decoded, image_id=image_id, now=work.now))
    work.session.flush()
    search.index_listing(work.session, image_id, decoded.decoding.listing.text)
    loaded.index_frames(work.session, [(image_id, decoded.image.frames)])
    loaded.index_memory(work.session, image_id, decoded.decoding.memory)
    # Two that come in at the same moment would not see each other.
    turns.take(work.session, "kin of a new image")
    with lifted(work.session):
        kin = kinship.find(
            work, examined.form, examined.fingerprints, besides=image_id, met=examined.met
        )
    kinship.keep(work, image_id, examined.form, examined.fingerprints)
    kinship.record(work, image_id, kin)
    verification.record_self_check(work, image_id, decoded)


def _same_content(work: Work, examined: Examined, image_id: int) -> str | None:
    if not examined.decoded.decoding.content:
        return None
    # Asked for their first, or for their format too, a database may go through all there are.
    sharing = work.session.execute(
        select(col(Decoding.image_id), col(Decoding.format)).where(
            col(Decoding.content_sha256) == examined.content_sha256, ~col(Decoding.superseded)
        )
    )
    mine = examined.decoded.decoding.format
    same = [other for other, name in sharing if name == mine and other != image_id]
    if not same:
        return None
    return work.session.scalar(select(col(ImageRow.sha256)).where(col(ImageRow.id) == min(same)))


def _notes(examined: Examined, levels: int, tape: Tape | None) -> tuple[str, ...]:
    notes = examined.notes
    if levels != examined.decoded.image.levels:
        notes += (f"The image is held already, as one of {levels} levels.",)
    caution = CAUTIONS[Hazard(tape.hazard)] if tape else ""
    return (*notes, caution) if caution else notes


def _of_running(
    work: Work, examined: Examined, tape: Tape | None, merged_from: Sequence[int]
) -> tuple[str, ...]:
    """What a pass of a tape that should not be run means; a merged reading is no pass."""
    if tape is None or merged_from:
        return ()
    told = running.note_reading(work, tape, examined.upload.read_on)
    return (told,) if told else ()


def _log(
    work: Work, examined: Examined, tape: Tape | None, merged_from: Sequence[int], *, held: bool
) -> None:
    upload, sha256 = examined.upload, examined.decoded.image.sha256
    kind = EventType.MERGING if merged_from else EventType.CAPTURE
    merged = {"readings": list(merged_from)} if merged_from else {}
    captured = {
        "file_name": upload.file_name,
        "tape": tape.accession_number if tape else None,
        "read_on": upload.read_on.isoformat() if upload.read_on else None,
        "reader": upload.reader,
        **merged,
    }
    detail = "held already" if held else ""
    image = ObjectKind.IMAGE
    events.record(work, kind, image, sha256, detail=detail, facts=captured)
    if tape is not None:
        facts = {"image": sha256, **merged}
        key = tape.accession_number
        events.record(work, kind, ObjectKind.TAPE, key, detail=detail, facts=facts)
    if not held:
        _log_ingestion(work, examined, sha256)


def _log_ingestion(work: Work, examined: Examined, sha256: str) -> None:
    decoded, image = examined.decoded, ObjectKind.IMAGE
    decoding = decoded.decoding
    digest = {"algorithm": "SHA-256", "value": sha256}
    identified = {"format": decoding.format, "confidence": decoded.identified[0].confidence}
    checked = {"check_status": decoding.check_status, "findings": len(decoding.findings)}
    damaged = decoding.check_status is CheckStatus.DAMAGED
    events.record(work, EventType.INGESTION, image, sha256, facts={"bytes": len(decoded.image)})
    events.record(work, EventType.DIGEST, image, sha256, facts=digest, agent=_DECODER)
    events.record(work, EventType.IDENTIFICATION, image, sha256, facts=identified, agent=_DECODER)
    events.record(
        work,
        EventType.VALIDATION,
        image,
        sha256,
        outcome="exceptions found" if damaged else "success",
        facts=checked,
        agent=_DECODER,
    )
