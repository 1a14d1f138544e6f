"""Merged readings as they are kept: one with its evidence, its disputes, and lists of them."""

from collections.abc import Collection
from datetime import datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, func, select, true
from sqlalchemy.orm import aliased
from sqlmodel import col

from server.catalog import images, named
from server.catalog.errors import NotFound
from server.catalog.held import image_id_of, known, may_be_id, tape_of
from server.catalog.merging_values import (
    DisputeRecord,
    Judgement,
    MergedRecord,
    MergedRow,
    Settlement,
    SourceRecord,
)
from server.catalog.records import VerifiedBy
from server.catalog.tape_values import Page
from server.catalog.work import COMMAND, Work
from server.store.images import ImageRow, Reading
from server.store.merging import MergedReading, MergedSource, unpack_disputes
from server.store.people import Person
from server.store.tapes import Tape
from server.store.verification import Verification
from server.tape.image import Orientation, Span
from server.tape.merging import AgreementKind, SettledBy, Source

PAGE_SIZE: Final = 50


def get(work: Work, merged_id: int) -> MergedRecord:
    """A merged reading with its evidence.

    Raises:
        NotFound: there is none of that id.
    """
    row = _row_of(work, merged_id)
    told = _rows(work, col(MergedReading.id) == merged_id)[0]
    return MergedRecord(
        row=told,
        levels=_levels(work, row),
        release=row.release,
        agreement=AgreementKind(row.agreement),
        judgement=Judgement(told.agree, row.sentence),
        sources=_sources(work, merged_id),
        settlements=_settlements(work, row),
        confidence=row.confidence,
    )


def page(
    work: Work,
    *,
    tape: str | None = None,
    image: str | None = None,
    page: int = 1,
    page_size: int = PAGE_SIZE,
) -> Page[MergedRow]:
    """One page of the merged readings, newest first: all, or those of a tape or an image.

    Those of an image are those that gave it and those that were made from a reading of it.

    Raises:
        NotFound: there is no such tape, or the image is not held.
    """
    condition: ColumnElement[bool] = true()
    if tape is not None:
        condition = condition & (col(Reading.tape_id) == tape_of(work, tape).id)
    if image is not None:
        condition = condition & _of_image(image_id_of(work, image))
    counted = (
        select(func.count())
        .select_from(MergedReading)
        .join(Reading, col(Reading.id) == col(MergedReading.reading_id))
        .where(condition)
    )
    rows = _rows(work, condition, offset=(page - 1) * page_size, limit=page_size)
    return Page(rows, work.session.scalar(counted) or 0, page, page_size)


def disputes(
    work: Work,
    merged_id: int,
    *,
    settled_by: SettledBy | None = None,
    page: int = 1,
    page_size: int = PAGE_SIZE,
) -> Page[DisputeRecord]:
    """One page of the disputes, in the order of the tape: all, or those settled so.

    Raises:
        NotFound: there is no merged reading of that id.
    """
    row = _row_of(work, merged_id)
    start = (page - 1) * page_size
    part = unpack_disputes(
        row.disputes,
        _how_many(work, merged_id),
        settled_by=settled_by,
        start=start,
        stop=start + page_size,
    )
    by_eye = {each.column: each for each in _settlements(work, row)}
    found = tuple(DisputeRecord(each, by_eye.get(each.column)) for each in part.disputes)
    return Page(found, part.total, page, page_size)


def dispute(work: Work, merged_id: int, column: int) -> DisputeRecord:
    """The dispute at that column.

    Raises:
        NotFound: there is no merged reading of that id, or no such dispute in it.
    """
    row = _row_of(work, merged_id)
    part = unpack_disputes(row.disputes, _how_many(work, merged_id), column=column)
    if not part.disputes:
        raise NotFound(
            f"Merged reading {merged_id} has no dispute at column {column}.",
            where=str(column),
            mend="Look at the list of its disputes.",
        )
    by_eye = {each.column: each for each in _settlements(work, row)}
    return DisputeRecord(part.disputes[0], by_eye.get(column))


def rows_of_readings(work: Work, numbers: Collection[int]) -> tuple[MergedRow, ...]:
    """The merged readings that were made from one of these readings."""
    using = select(col(MergedSource.merged_id)).where(col(MergedSource.reading_id).in_(numbers))
    return _rows(work, col(MergedReading.id).in_(using))


def _of_image(image_id: int) -> ColumnElement[bool]:
    made_from = (
        select(col(MergedSource.merged_id))
        .join(Reading, col(Reading.id) == col(MergedSource.reading_id))
        .where(col(Reading.image_id) == image_id)
    )
    return (col(Reading.image_id) == image_id) | col(MergedReading.id).in_(made_from)


def _row_of(work: Work, merged_id: int) -> MergedReading:
    found = work.session.get(MergedReading, merged_id) if may_be_id(merged_id) else None
    if found is None:
        raise NotFound(
            f"There is no merged reading {merged_id}.",
            where=str(merged_id),
            mend="Look at the page of its tape.",
        )
    return found


def _levels(work: Work, row: MergedReading) -> int:
    return work.session.scalars(
        select(col(ImageRow.levels))
        .join(Reading, col(Reading.image_id) == col(ImageRow.id))
        .where(col(Reading.id) == row.reading_id)
    ).one()


def _how_many(work: Work, merged_id: int) -> int:
    counted = select(func.count()).where(col(MergedSource.merged_id) == merged_id)
    return work.session.scalar(counted) or 0


def _sources(work: Work, merged_id: int) -> tuple[SourceRecord, ...]:
    rows = work.session.scalars(
        select(MergedSource)
        .where(col(MergedSource.merged_id) == merged_id)
        .order_by(col(MergedSource.place))
    ).all()
    numbers = [row.reading_id for row in rows]
    readings = {each.id: each for each in images.readings_where(work, col(Reading.id).in_(numbers))}
    return tuple(
        SourceRecord(
            readings[row.reading_id],
            Source(
                orientation=Orientation(row.orientation),
                span=Span(row.start, row.stop),
                flipped=row.flipped,
                dropped=row.dropped,
                doubled=row.doubled,
                added=row.added,
                score=row.score,
            ),
            row.is_equal,
        )
        for row in rows
    )


def _settlements(work: Work, row: MergedReading) -> tuple[Settlement, ...]:
    told = named.naming(work)
    return tuple(
        Settlement(**(kept | {"at": datetime.fromisoformat(kept["at"]), "by": told(kept["by"])}))
        for kept in row.settlements
    )


def _rows(
    work: Work, condition: ColumnElement[bool], *, offset: int = 0, limit: int | None = None
) -> tuple[MergedRow, ...]:
    follower = aliased(MergedReading)
    found = work.session.execute(
        select(
            MergedReading,
            col(ImageRow.id),
            col(ImageRow.sha256),
            col(Tape.accession_number),
            named.name_of(work),
            col(follower.id),
        )
        .join(Reading, col(Reading.id) == col(MergedReading.reading_id))
        .join(ImageRow, col(ImageRow.id) == col(Reading.image_id))
        .outerjoin(Tape, col(Tape.id) == col(Reading.tape_id))
        .outerjoin(Person, col(Person.id) == col(MergedReading.made_by_id))
        .outerjoin(follower, col(follower.follows_id) == col(MergedReading.id))
        .where(condition)
        .order_by(col(MergedReading.id).desc())
        .offset(offset)
        .limit(limit)
    ).all()
    numbers = _numbers(work, [known(each[0].id) for each in found])
    vouched = _vouched(work, {each[1] for each in found})
    return tuple(
        MergedRow(
            id=known(row.id),
            sha256=sha256,
            tape=tape,
            made=row.made_at,
            by=name or COMMAND.name,
            readings=numbers[known(row.id)],
            counts={SettledBy(word): count for word, count in row.counts.items()},
            agree=known(row.id) in vouched,
            follows=row.follows_id,
            followed_by=followed_by,
        )
        for row, _, sha256, tape, name, followed_by in found
    )


def _numbers(work: Work, merged_ids: Collection[int]) -> dict[int, tuple[int, ...]]:
    """The readings that each of the merged readings was made from."""
    found: dict[int, tuple[int, ...]] = dict.fromkeys(merged_ids, ())
    rows = work.session.execute(
        select(col(MergedSource.merged_id), col(MergedSource.reading_id))
        .where(col(MergedSource.merged_id).in_(merged_ids))
        .order_by(col(MergedSource.merged_id), col(MergedSource.place))
    )
    for merged_id, reading_id in rows:
        found[merged_id] += (reading_id,)
    return found


def _vouched(work: Work, image_ids: Collection[Any]) -> set[int]:
    """The merged readings by which readings agree on one of the images."""
    facts = work.session.scalars(
        select(col(Verification.facts)).where(
            col(Verification.image_id).in_(image_ids),
            col(Verification.kind) == VerifiedBy.READINGS_AGREE,
        )
    )
    return {each["merged_reading"] for each in facts if "merged_reading" in each}
