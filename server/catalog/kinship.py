"""Kin: which images held already are what a new one is, or a version of it."""

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from types import MappingProxyType
from typing import Any, Final, NamedTuple, TypeAlias

from sqlalchemy import delete, insert, or_, select
from sqlmodel import col

from server.catalog.held import titles
from server.catalog.records import KinRecord
from server.catalog.work import Work
from server.store import fingerprints
from server.store.fingerprints import Hashes
from server.store.images import Decoding, ImageRow
from server.store.kin import Fingerprint
from server.store.kin import Kinship as KinshipRow
from server.store.listings import unpack_listing
from server.tape.anatomy import BOOTSTRAP
from server.tape.formats import FORMATS
from server.tape.image import Image, Orientation
from server.tape.kinship import SAME_IMAGE, Kind, Kinship, NormalForm, Unit, compare, describe
from server.tape.listing import Listing
from server.tape.normal_form import form_of, is_textual
from server.tape.view import View

KEPT: Final = 20
"""The most kin that are recorded when an image comes in; the nearest ones."""

_NEAREST_FIRST = {kind: place for place, kind in enumerate(Kind)}

_DECODED = (
    select(
        col(Decoding.image_id),
        col(ImageRow.sha256),
        col(ImageRow.levels),
        col(Decoding.format),
        col(Decoding.language),
        col(Decoding.orientation),
        col(Decoding.content),
        col(Decoding.listing),
        col(Decoding.load_ranges),
    )
    .join(ImageRow, col(ImageRow.id) == col(Decoding.image_id))
    .where(col(Decoding.superseded).is_(False))
)


class _Held(NamedTuple):
    """A row of `_DECODED`."""

    image_id: int
    sha256: str
    levels: int
    format: str
    language: str | None
    orientation: str
    content: bytes
    listing: bytes
    load_ranges: list[dict[str, int]]


class Found(NamedTuple):
    """An image held, and how the new one relates to it."""

    image_id: int
    sha256: str
    kinship: Kinship


Met: TypeAlias = Mapping[int, Found]
"""Images that a new one was compared with, by id."""

NOBODY: Final[Met] = MappingProxyType({})


def find(
    work: Work,
    form: NormalForm,
    hashes: Hashes,
    *,
    besides: int | None = None,
    met: Met = NOBODY,
) -> tuple[Found, ...]:
    """The nearest kin of an image with that normal form and those fingerprints, nearest first.

    `besides` is an image left out: the new one itself, where it is held already. Those in `met`
    are not compared again. An image without content, such as a blank tape, has no kin.
    """
    compared = meet(work, form, hashes, besides=besides, met=met).values()
    kin = [found for found in compared if found.kinship.kind is not Kind.UNRELATED]
    return tuple(sorted(kin, key=_nearness)[:KEPT])


def meet(
    work: Work,
    form: NormalForm,
    hashes: Hashes,
    *,
    besides: int | None = None,
    met: Met = NOBODY,
) -> Met:
    """All likely kin, by id, each compared exactly; the unrelated among them too.

    Comparing takes time, so that it is done before the transaction that writes; those who came
    in since are then all that is left to meet.
    """
    likely = _likely(work, form, hashes, besides) if hashes.size else set()
    known = {image_id: met[image_id] for image_id in likely & met.keys()}
    strangers = _held(work, likely - met.keys())
    return known | {
        each.image_id: Found(each.image_id, each.sha256, compare(_form(work, each), form))
        for each in strangers
    }


def record(work: Work, image_id: int, hashes: Hashes, kin: tuple[Found, ...]) -> None:
    """Keep what `find` found of a new image, and its fingerprints, in the caller's transaction.

    Repeated, as when a later decoder reads the image again, it replaces what was kept.
    """
    work.session.execute(delete(Fingerprint).where(col(Fingerprint.image_id) == image_id))
    work.session.execute(delete(KinshipRow).where(_either(image_id)))
    fingerprints.add(work.session, image_id, hashes)
    rows = [_row(found, image_id) for found in kin]
    if rows:
        work.session.execute(insert(KinshipRow), rows)


def of(work: Work, image_id: int) -> tuple[KinRecord, ...]:
    """The kin of an image held, nearest first; `added` is what it has and they have not."""
    rows = work.session.scalars(select(KinshipRow).where(_either(image_id))).all()
    kin = {
        row.image_b_id if row.image_a_id == image_id else row.image_a_id: _seen_from(image_id, row)
        for row in rows
    }
    return _records(work, kin)


def between(work: Work, image_id: int, other_id: int) -> KinRecord:
    """How the image `image_id` relates to the image `other_id`, compared afresh."""
    if image_id == other_id:
        return _records(work, {other_id: SAME_IMAGE})[0]
    forms = {each.image_id: _form(work, each) for each in _held(work, {image_id, other_id})}
    return _records(work, {other_id: compare(forms[other_id], forms[image_id])})[0]


def _likely(work: Work, form: NormalForm, hashes: Hashes, besides: int | None) -> set[int]:
    """Images with the same content, and those that share most fingerprints."""
    same = col(Decoding.content_sha256) == hashlib.sha256(form.content).hexdigest()
    rows = work.session.scalars(
        select(col(Decoding.image_id))
        .where(same, col(Decoding.superseded).is_(False))
        .order_by(col(Decoding.image_id))
        .limit(KEPT)
    )
    sharing = fingerprints.candidates(work.session, hashes, besides=besides)
    return {*rows, *(each.image_id for each in sharing)} - {besides}


def _held(work: Work, image_ids: set[int]) -> Iterator[_Held]:
    rows = work.session.execute(_DECODED.where(col(Decoding.image_id).in_(image_ids)))
    return (_Held(*row) for row in rows)


def _form(work: Work, held: _Held) -> NormalForm:
    """The normal form of an image held, out of no more of its decoding than it needs."""
    textual = is_textual(held.format, held.language)
    listing = unpack_listing(held.listing) if textual else Listing()
    memory = {} if textual else _memory(work, held)
    return form_of(held.format, held.language, listing, held.content, memory)


def _memory(work: Work, held: _Held) -> Mapping[int, bytes]:
    """What the image loads: not stored, but its format reads it from the frames at once."""
    if not held.load_ranges:
        return {}
    frames = work.session.scalar(
        select(col(ImageRow.frames)).where(col(ImageRow.id) == held.image_id)
    )
    assert frames is not None
    view = View(Image(frames, held.levels), Orientation(held.orientation))
    return FORMATS[held.format.removeprefix(BOOTSTRAP)].parse(view).memory_by_byte


def _nearness(found: Found) -> tuple[int, float, int]:
    """The nearest kind first, then the greatest similarity, then the image held longest."""
    return _NEAREST_FIRST[found.kinship.kind], -found.kinship.similarity, found.image_id


def _either(image_id: int) -> Any:
    return or_(col(KinshipRow.image_a_id) == image_id, col(KinshipRow.image_b_id) == image_id)


def _row(found: Found, image_id: int) -> dict[str, Any]:
    """The row of a pair, whose first image is the one of the smaller id."""
    forwards = found.image_id < image_id
    first, second = sorted((found.image_id, image_id))
    kinship = found.kinship if forwards else found.kinship.turned()
    return {"image_a_id": first, "image_b_id": second, **asdict(kinship)}


def _seen_from(image_id: int, row: KinshipRow) -> Kinship:
    kinship = Kinship(
        kind=Kind(row.kind),
        similarity=row.similarity,
        distance=row.distance,
        added=row.added,
        removed=row.removed,
        changed=row.changed,
        unit=Unit(row.unit),
    )
    return kinship.turned() if row.image_a_id == image_id else kinship


def _records(work: Work, kin: dict[int, Kinship]) -> tuple[KinRecord, ...]:
    names = titles(work, kin)
    digests = dict(
        work.session.execute(
            select(col(ImageRow.id), col(ImageRow.sha256)).where(col(ImageRow.id).in_(kin))
        ).all()
    )
    nearest = sorted(
        (Found(image_id, digests[image_id], kinship) for image_id, kinship in kin.items()),
        key=_nearness,
    )
    return tuple(
        KinRecord(
            sha256=each.sha256,
            title=names[each.image_id].title,
            accession=names[each.image_id].accession,
            kinship=each.kinship.kind,
            similarity=each.kinship.similarity,
            distance=each.kinship.distance,
            added=each.kinship.added,
            removed=each.kinship.removed,
            changed=each.kinship.changed,
            description=describe(each.kinship),
        )
        for each in nearest
    )
