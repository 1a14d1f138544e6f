"""Choosing what to merge: which readings may be, of one tape, each a pass of its own."""

from collections.abc import Collection, Iterable, Sequence

from sqlalchemy import select
from sqlmodel import col

from server.catalog import fixity, images, passes
from server.catalog.errors import TooLarge, refused
from server.catalog.held import image_id_of, may_be_id, tape_of
from server.catalog.merging_values import Candidate, Chosen, NewMerge
from server.catalog.records import ReadingRecord
from server.catalog.work import Role, Work
from server.store.images import Decoding, ImageRow, Reading
from server.tape.findings import CheckStatus
from server.tape.image import Image


def candidates(
    work: Work, tapes: Collection[str] = (), image_names: Collection[str] = ()
) -> tuple[Candidate, ...]:
    """The passes of those tapes, and those that gave the images of those names, oldest first.

    Raises:
        NotFound: there is no such tape, or an image is not held.
    """
    of_tapes = col(Reading.tape_id).in_([tape_of(work, each).id for each in tapes])
    of_images = col(Reading.image_id).in_([image_id_of(work, each) for each in image_names])
    passed = [
        each for each in images.readings_where(work, of_tapes | of_images) if each.merged is None
    ]
    facts = _facts(work, {each.sha256 for each in passed})
    found: list[Candidate] = []
    for each in passed:
        earlier = (one.id for one in found if passes.is_same_pass(one.reading, each))
        found.append(Candidate(each, *facts[each.sha256], next(earlier, None)))
    return tuple(found)


def where_from(work: Work, numbers: Collection[int]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The tapes of these readings, and the images of those that have none."""
    known = [each for each in numbers if may_be_id(each)]
    found = images.readings_where(work, col(Reading.id).in_(known))
    tapes = dict.fromkeys(each.tape for each in found if each.tape is not None)
    loose = dict.fromkeys(each.sha256 for each in found if each.tape is None)
    return tuple(tapes), tuple(loose)


def choose(work: Work, new: NewMerge, limit: int) -> Chosen:
    """The readings to merge, with their images of up to `limit` frames each.

    Raises:
        Invalid: a reading is not held, is itself merged, or two are of different tapes or may
            be one pass.
        TooLarge: one of the images is over the limit.
    """
    work.actor.require(Role.VOLUNTEER)
    wanted = sorted(set(new.readings))
    found = images.readings_where(work, col(Reading.id).in_(wanted))
    _require_all(wanted, found)
    tape = _one_tape(found)
    _require_passes(found)
    return Chosen(found, _images(work, found, limit), tape)


def _require_all(wanted: Sequence[int], found: Sequence[ReadingRecord]) -> None:
    missing = set(wanted) - {each.id for each in found}
    if missing:
        raise refused(
            "readings", f"There is no reading {min(missing)}.", "Choose among those of the tape."
        )
    if len(found) < 2:
        raise refused(
            "readings",
            "One reading cannot be merged with itself.",
            "Choose two or more readings of a tape.",
        )
    for each in found:
        if each.merged is not None:
            raise refused(
                "readings",
                f"Reading {each.id} is itself merged, from other readings.",
                "Choose those that it was made from, and the new ones.",
            )


def _one_tape(found: Sequence[ReadingRecord]) -> str | None:
    tapes = sorted({each.tape for each in found if each.tape is not None})
    if len(tapes) > 1:
        raise refused(
            "readings",
            f"These readings are of different tapes: {', '.join(tapes)}.",
            "Merge readings of one tape; compare those of copies line by line instead.",
        )
    return tapes[0] if tapes else None


def _require_passes(found: Sequence[ReadingRecord]) -> None:
    pair = passes.first_pair(found)
    if pair is not None:
        raise refused(
            "readings",
            f"Readings {pair[0].id} and {pair[1].id} have the same frames, and nothing recorded "
            "tells them apart: they count as one pass.",
            "Leave one of them out; a second vote for the same pass would be none.",
        )


def _images(work: Work, found: Sequence[ReadingRecord], limit: int) -> tuple[Image, ...]:
    rows = work.session.execute(
        select(
            col(ImageRow.sha256), col(ImageRow.frames), col(ImageRow.levels), col(ImageRow.size)
        ).where(col(ImageRow.sha256).in_({each.sha256 for each in found}))
    ).all()
    for sha256, _, _, size in rows:
        if size > limit:
            raise TooLarge(
                f"The image {sha256[:12]} is over the limit of {limit:,} bytes.",
                limit=limit,
                where="readings",
                mend="Leave it out, or ask for a higher limit.",
            )
    held = {
        sha256: Image(fixity.require_own(work, sha256, frames), levels)
        for sha256, frames, levels, _ in rows
    }
    return tuple(held[each.sha256] for each in found)


def _facts(work: Work, names: Iterable[str]) -> dict[str, tuple[int, str, CheckStatus]]:
    rows = work.session.execute(
        select(
            col(ImageRow.sha256),
            col(ImageRow.size),
            col(Decoding.format),
            col(Decoding.check_status),
        )
        .join(Decoding, col(Decoding.image_id) == col(ImageRow.id))
        .where(col(ImageRow.sha256).in_(names), ~col(Decoding.superseded))
    )
    return {sha256: (size, format_, CheckStatus(status)) for sha256, size, format_, status in rows}
