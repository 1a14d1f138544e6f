"""Kin: which images held already are what a new one is, or a version of it."""

from collections.abc import Collection, Mapping
from dataclasses import asdict
from types import MappingProxyType
from typing import Any, Final, NamedTuple, TypeAlias

from sqlalchemy import and_, bindparam, delete, insert, or_, select
from sqlmodel import col

from server.catalog import forms
from server.catalog.held import known, titles
from server.catalog.records import KinRecord
from server.catalog.work import Work
from server.store import fingerprints
from server.store import forms as stored
from server.store.fingerprints import Hashes
from server.store.images import ImageRow
from server.store.kin import Fingerprint
from server.store.kin import Kinship as KinshipRow
from server.tape.kinship import SAME_IMAGE, Kind, Kinship, NormalForm, Unit, compare, describe

KEPT: Final = 20
"""The most kin that are recorded when an image comes in; the nearest ones."""

_NEAREST_FIRST = {kind: place for place, kind in enumerate(Kind)}


_DIGESTS = select(col(ImageRow.id), col(ImageRow.sha256)).where(
    col(ImageRow.id).in_(bindparam("image_ids", expanding=True))
)


class Found(NamedTuple):
    """An image held, and how the new one relates to it."""

    image_id: int
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
    return tuple(sorted(kin, key=nearness)[:KEPT])


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
    sharing = fingerprints.candidates(work.session, hashes, besides=besides) if hashes.size else ()
    likely = {each.image_id for each in sharing}
    before = {image_id: met[image_id] for image_id in likely & met.keys()}
    strangers = forms.of(work, likely - met.keys())
    return before | {
        image_id: Found(image_id, compare(held, form)) for image_id, held in strangers.items()
    }


def keep(work: Work, image_id: int, form: NormalForm, hashes: Hashes) -> None:
    """Keep the normal form of an image and its fingerprints, in the caller's transaction.

    Repeated, as when a later decoder reads the image again, it replaces what was kept.
    """
    work.session.execute(delete(Fingerprint).where(col(Fingerprint.image_id) == image_id))
    fingerprints.add(work.session, image_id, hashes)
    stored.keep(work.session, image_id, form)


def record(work: Work, image_id: int, kin: tuple[Found, ...], *, since: int = 0) -> None:
    """Keep what `find` found of an image, in the caller's transaction, in place of what was known.

    What is known of images of an id up to `since` stays, unless it was found again.
    """
    found = {each.image_id for each in kin}
    first, second = col(KinshipRow.image_a_id), col(KinshipRow.image_b_id)
    replaced = or_(
        *(
            and_(mine == image_id, or_(other > since, other.in_(found)))
            for mine, other in ((first, second), (second, first))
        )
    )
    work.session.execute(delete(KinshipRow).where(replaced))
    rows = [_row(each, image_id) for each in kin]
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


def told(work: Work, found: Collection[Found]) -> tuple[KinRecord, ...]:
    """What was found, as it is told of an image that need not be held; nearest first."""
    return _records(work, {each.image_id: each.kinship for each in found})


def between(work: Work, image_id: int, other_id: int) -> KinRecord:
    """How the image `image_id` relates to the image `other_id`, compared afresh."""
    if image_id == other_id:
        return _records(work, {other_id: SAME_IMAGE})[0]
    both = forms.of(work, {image_id, other_id})
    return _records(work, {other_id: compare(both[other_id], both[image_id])})[0]


def among(work: Work, image_ids: Collection[int]) -> dict[tuple[int, int], Kinship]:
    """What is recorded of images among themselves: how the second of each pair relates."""
    rows = work.session.scalars(
        select(KinshipRow).where(
            col(KinshipRow.image_a_id).in_(image_ids), col(KinshipRow.image_b_id).in_(image_ids)
        )
    )
    return {(row.image_a_id, row.image_b_id): _seen_from(row.image_b_id, row) for row in rows}


def afresh(work: Work, image_id: int, others: Collection[int]) -> dict[int, Kinship]:
    """How an image relates to each of some others, compared however unlike they are."""
    found = forms.of(work, {image_id, *others})
    return {
        other: compare(found[other], found[image_id], cutoff=0.0)
        for other in others
        if other != image_id
    }


def named(work: Work, kin: dict[int, Kinship]) -> dict[int, KinRecord]:
    """Kinships to images, by the ids of those, with the names that the images go by."""
    digests = _digests(work, kin)
    by_name = {record.sha256: record for record in _records(work, kin)}
    return {image_id: by_name[digests[image_id]] for image_id in kin}


def nearness(found: Found) -> tuple[int, float, int]:
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
        renumbered=row.renumbered,
        moved_by=row.moved_by,
    )
    return kinship.turned() if row.image_a_id == image_id else kinship


def _digests(work: Work, image_ids: Collection[int]) -> dict[int, str]:
    """The names of images, by id."""
    if not image_ids:
        return {}
    rows = work.session.execute(_DIGESTS, {"image_ids": sorted(image_ids)})
    return {known(image_id): sha256 for image_id, sha256 in rows}


def _records(work: Work, kin: dict[int, Kinship]) -> tuple[KinRecord, ...]:
    names = titles(work, kin)
    digests = _digests(work, kin)
    nearest = sorted(
        (Found(image_id, kinship) for image_id, kinship in kin.items()),
        key=nearness,
    )
    return tuple(
        KinRecord(
            sha256=digests[each.image_id],
            title=names[each.image_id].title,
            accession=names[each.image_id].accession,
            do_not_run=names[each.image_id].do_not_run,
            kinship=each.kinship.kind,
            similarity=each.kinship.similarity,
            distance=each.kinship.distance,
            added=each.kinship.added,
            removed=each.kinship.removed,
            changed=each.kinship.changed,
            unit=each.kinship.unit,
            renumbered=each.kinship.renumbered,
            moved_by=each.kinship.moved_by,
            description=describe(each.kinship),
        )
        for each in nearest
    )
