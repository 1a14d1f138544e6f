"""Downloads: an image to punch from, under a name that says which tape it is."""

import re
from collections.abc import Mapping
from typing import Any

from server.catalog import events, images, verification
from server.catalog.errors import NotVerified
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import SHORT_DIGEST, access_of, image_id_of
from server.catalog.records import Download, ImageRecord
from server.catalog.vocabulary import Access
from server.catalog.work import Work

SUFFIX = ".tape"


def download(work: Work, sha256: str, acknowledged: bool = False) -> Download:
    """The frames of an image. That they were given out is logged, to whom is not.

    Raises:
        NotFound: the image is not held.
        FixityFailed: the held frames are not those of its name.
        NotVerified: nothing vouches for it, and that was not `acknowledged`.
    """
    record = images.get(work, sha256)
    frames = images.own_frames(work, sha256)
    require_vouched(record, acknowledged=acknowledged)
    facts = {"verification": record.verification.word, "bytes": record.bytes}
    work.afterwards.append(lambda later: log(later, record, facts))
    return Download(
        file_name=file_name_of(record),
        frames=frames,
        sha256=record.sha256,
        verified=record.verification.verified,
        is_public=access_of(work, image_id_of(work, sha256)) is Access.PUBLIC,
    )


def require_vouched(record: ImageRecord, *, acknowledged: bool) -> None:
    """Nothing, if something vouches for the image, or that nothing does is `acknowledged`.

    Raises:
        NotVerified: neither is so.
    """
    if not record.verification.verified and not acknowledged:
        raise NotVerified(
            f"{verification.SENTENCES[record.verification.word]} It may be wrong in places.",
            where=record.sha256,
            mend="Compare it with another reading, or say that you know it is not verified.",
        )


def file_name_of(record: ImageRecord) -> str:
    """A plain file name: by accession number, or by the digest where no tape is named."""
    stem = record.accession or record.sha256[:SHORT_DIGEST]
    mark = "" if record.verification.verified else "-unverified"
    return f"{re.sub(r'[^0-9A-Za-z.-]', '-', stem)}{mark}{SUFFIX}"


def log(work: Work, record: ImageRecord, facts: Mapping[str, Any]) -> None:
    """Write down that frames of an image were given out, and what of it, not to whom."""
    events.record(
        work,
        EventType.DISSEMINATION,
        ObjectKind.IMAGE,
        record.sha256,
        facts=dict(facts),
        anonymous=True,
    )
