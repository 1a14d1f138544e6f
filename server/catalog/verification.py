"""Verification: why an image is trusted. A judgement with evidence, not a fact of the bytes."""

from collections.abc import Collection, Mapping
from typing import Any

from sqlalchemy import ColumnElement, bindparam, case, func, select
from sqlmodel import col

from server.catalog import events, named
from server.catalog.errors import Conflict
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import image_id_of
from server.catalog.inputs import Input, RequiredText
from server.catalog.records import EvidenceRecord, Verification, VerifiedBy
from server.catalog.work import Role, Work
from server.store.people import Person
from server.store.verification import Verification as VerificationRow
from server.tape.findings import CheckStatus
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.s_record import SRecord
from server.tape.identify import DECODER_RELEASE, Decoded

CHECKSUMMED = frozenset({IntelHex.name, SRecord.name})
"""Formats whose records carry checksums. Parity alone does not vouch for an image: two wrong
holes in one frame pass it."""

SENTENCES = {
    VerifiedBy.UNVERIFIED: "Nothing vouches for this image yet.",
    VerifiedBy.SELF_CHECKED: "Every checksum on the tape agrees with what was read.",
    VerifiedBy.READINGS_AGREE: "Independent readings of the tape agree.",
    VerifiedBy.PROOF_READ: "A person has read the listing and vouches for it.",
    VerifiedBy.READ_BACK: "A tape was punched, read back, and found to be as prepared.",
}


class ProofReading(Input):
    """What a person vouches with: how the listing was read, against what."""

    note: RequiredText


def proof_read(work: Work, sha256: str, note: str) -> Verification:
    """Vouch for an image as the person who acts.

    Raises:
        NotFound: the image is not held.
        Invalid: the note does not say how it was read.
        Conflict: the same person vouches for it already.
    """
    work.actor.require(Role.ARCHIVIST)
    given = ProofReading.of({"note": note})
    image_id = image_id_of(work, sha256)
    if any(_is_mine(work, row) for row in _rows(work, image_id)):
        raise Conflict(
            "You vouch for this image already.",
            where=sha256,
            mend="Let somebody else read it too.",
        )
    _add(work, image_id, VerifiedBy.PROOF_READ, given.note, {})
    _log(work, sha256, VerifiedBy.PROOF_READ, given.note, agent=None)
    return state_of(work, image_id)


def record_self_check(work: Work, image_id: int, decoded: Decoded) -> None:
    """Record that a new image vouches for itself, where its format can and its checks pass."""
    if not _vouches_for_itself(decoded):
        return
    decoding = decoded.decoding
    evidence = f"All checksums of the {decoding.format} records pass."
    facts = {"format": decoding.format, "decoder_release": DECODER_RELEASE}
    _add(work, image_id, VerifiedBy.SELF_CHECKED, evidence, facts)
    agent = f"decoder {DECODER_RELEASE}"
    _log(work, decoded.image.sha256, VerifiedBy.SELF_CHECKED, evidence, agent=agent)


def renew_self_check(work: Work, image_id: int, decoded: Decoded) -> None:
    """Let what a later decoder makes of an image stand in place of what an earlier one vouched."""
    taken_back = [
        row for row in _rows(work, image_id) if VerifiedBy(row.kind) is VerifiedBy.SELF_CHECKED
    ]
    for row in taken_back:
        work.session.delete(row)
    if taken_back and not _vouches_for_itself(decoded):
        detail = "The checks that an earlier release of the decoder found to pass do not."
        sha256, agent = decoded.image.sha256, f"decoder {DECODER_RELEASE}"
        _log(work, sha256, VerifiedBy.UNVERIFIED, detail, agent=agent)
    record_self_check(work, image_id, decoded)


def _vouches_for_itself(decoded: Decoded) -> bool:
    decoding = decoded.decoding
    return decoding.format in CHECKSUMMED and decoding.check_status is CheckStatus.SOUND


def record_agreement(
    work: Work, sha256: str, evidence: str, facts: Mapping[str, Any], agent: str
) -> None:
    """Record that independent readings agree on an image, as `agent` found by its rule."""
    image_id = image_id_of(work, sha256)
    _add(work, image_id, VerifiedBy.READINGS_AGREE, evidence, facts)
    _log(work, sha256, VerifiedBy.READINGS_AGREE, evidence, agent=agent)


def record_read_back(work: Work, sha256: str, evidence: str, facts: Mapping[str, Any]) -> None:
    """Record that a tape was punched, read back by the person who acts, and found the same."""
    image_id = image_id_of(work, sha256)
    _add(work, image_id, VerifiedBy.READ_BACK, evidence, facts)
    _log(work, sha256, VerifiedBy.READ_BACK, evidence, agent=None)


def state(work: Work, sha256: str) -> Verification:
    """Why the image is trusted, or that it is not.

    Raises:
        NotFound: the image is not held.
    """
    return state_of(work, image_id_of(work, sha256))


def state_of(work: Work, image_id: int) -> Verification:
    """Why the image with that id is trusted: the strongest evidence, and all of it."""
    evidence = tuple(
        EvidenceRecord(VerifiedBy(row.kind), name or "decoder", row.made_at, row.evidence)
        for row, name in work.session.execute(
            select(VerificationRow, named.name_of(work))
            .outerjoin(Person, col(Person.id) == col(VerificationRow.made_by_id))
            .where(col(VerificationRow.image_id) == image_id)
            .order_by(col(VerificationRow.id))
        )
    )
    order = tuple(VerifiedBy)
    word = max((each.kind for each in evidence), key=order.index, default=VerifiedBy.UNVERIFIED)
    return Verification(word, SENTENCES[word], evidence)


def strength() -> ColumnElement[int]:
    """The place of a verification row's kind from weakest to strongest, in SQL."""
    return case(
        {word: place for place, word in enumerate(VerifiedBy)},
        value=col(VerificationRow.kind),
        else_=0,
    )


_STRONGEST = (
    select(col(VerificationRow.image_id), func.max(strength()))
    .where(col(VerificationRow.image_id).in_(bindparam("image_ids", expanding=True)))
    .group_by(col(VerificationRow.image_id))
)


def words_of(work: Work, image_ids: Collection[int]) -> dict[int, VerifiedBy]:
    """The strongest evidence for each image, in a word."""
    asked = {"image_ids": sorted(image_ids)}
    strongest = work.session.connection().execute(_STRONGEST, asked)
    words = dict.fromkeys(image_ids, VerifiedBy.UNVERIFIED)
    return words | {image_id: tuple(VerifiedBy)[place] for image_id, place in strongest}


def _rows(work: Work, image_id: int) -> list[VerificationRow]:
    return list(
        work.session.scalars(
            select(VerificationRow).where(col(VerificationRow.image_id) == image_id)
        )
    )


def _is_mine(work: Work, row: VerificationRow) -> bool:
    return work.actor.is_person(row.made_by_id) and row.kind == VerifiedBy.PROOF_READ


def _add(
    work: Work, image_id: int, kind: VerifiedBy, evidence: str, facts: Mapping[str, Any]
) -> None:
    by_person = kind is not VerifiedBy.SELF_CHECKED
    work.session.add(
        VerificationRow(
            image_id=image_id,
            kind=kind,
            evidence=evidence,
            facts=dict(facts),
            made_at=work.now,
            made_by_id=work.actor.person_id if by_person else None,
        )
    )
    work.session.flush()


def _log(work: Work, sha256: str, kind: VerifiedBy, detail: str, *, agent: str | None) -> None:
    events.record(
        work,
        EventType.VERIFICATION,
        ObjectKind.IMAGE,
        sha256,
        outcome=kind,
        detail=detail,
        agent=agent,
    )
