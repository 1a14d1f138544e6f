"""Decoding again: what an earlier release of the decoder made of an image, made anew.

Two steps, as an upload has them: `decoded_again` decodes, which is slow, in a transaction that
only reads; `keep` writes all that changed. The image, its readings and what people said of it
stay as they are; the earlier decoding stays too, marked as superseded.
"""

from collections.abc import Collection
from typing import NamedTuple

from sqlalchemy import delete, func, select, update
from sqlmodel import col

from server.catalog import decodings, events, verification
from server.catalog.events import EventType, ObjectKind
from server.catalog.fixity_events import digest
from server.catalog.work import Work
from server.store import loaded, search
from server.store.images import Decoding, ImageRow
from server.tape.identify import DECODER_RELEASE, Decoded, decode


class Again(NamedTuple):
    """What this release makes of an image, and the release whose work it takes the place of."""

    image_id: int
    before: str
    decoded: Decoded


_STALE = ~col(Decoding.superseded), col(Decoding.decoder_release) != DECODER_RELEASE


def waiting(work: Work) -> int:
    """How many images another release of the decoder took in, and this one has not seen."""
    return work.session.scalar(select(func.count()).select_from(Decoding).where(*_STALE)) or 0


def decoded_again(work: Work, image_ids: Collection[int]) -> list[Again]:
    """Those of the images that another release decoded, decoded by this one.

    Of one whose held frames are not those of its name the earlier decoding stays the better one.
    """
    held = work.session.execute(
        select(
            col(Decoding.image_id),
            col(ImageRow.sha256),
            col(Decoding.decoder_release),
            col(ImageRow.frames),
            col(ImageRow.levels),
        )
        .join(ImageRow, col(ImageRow.id) == col(Decoding.image_id))
        .where(col(Decoding.image_id).in_(image_ids), *_STALE)
        .order_by(col(Decoding.image_id))
    ).all()
    return [
        Again(image_id, before, decode(frames, levels))
        for image_id, sha256, before, frames, levels in held
        if digest(frames) == sha256
    ]


def keep(work: Work, again: Again) -> None:
    """Put the new decoding in the place of the one before, in the caller's transaction.

    Where somebody was quicker, nothing is done. Normal form, fingerprints and kin are left to
    the pass that finds kin in everything.
    """
    of_image = col(Decoding.image_id) == again.image_id
    of_release = col(Decoding.decoder_release) == again.before
    replaced = update(Decoding).where(of_image, of_release, ~col(Decoding.superseded))
    if not work.session.connection().execute(replaced.values(superseded=True)).rowcount:
        return
    # Left by this release, before the archive went back to another one for a while.
    work.session.execute(
        delete(Decoding).where(of_image, col(Decoding.decoder_release) == DECODER_RELEASE)
    )
    decoded = again.decoded
    work.session.add(decodings.to_row(decoded, image_id=again.image_id, now=work.now))
    work.session.flush()
    search.index_listing(work.session, again.image_id, decoded.decoding.listing.text)
    loaded.index_memory(work.session, again.image_id, decoded.decoding.memory)
    verification.renew_self_check(work, again.image_id, decoded)
    _log(work, again)


def _log(work: Work, again: Again) -> None:
    decoding = again.decoded.decoding
    facts = {
        "format": decoding.format,
        "confidence": again.decoded.identified[0].confidence,
        "check_status": decoding.check_status,
        "findings": len(decoding.findings),
    }
    events.record(
        work,
        EventType.IDENTIFICATION,
        ObjectKind.IMAGE,
        again.decoded.image.sha256,
        detail=f"decoded again, in place of release {again.before}",
        facts=facts,
        agent=f"decoder {DECODER_RELEASE}",
    )
