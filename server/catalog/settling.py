"""Settling by eye: an archivist decides a disputed frame, which makes a new merged reading."""

from collections.abc import Sequence
from dataclasses import replace

from server.catalog import merged
from server.catalog.errors import Conflict, refused
from server.catalog.merge_choice import choose
from server.catalog.merging_values import (
    Chosen,
    MergedRecord,
    NewMerge,
    Ruling,
    Settlement,
    Settling,
)
from server.catalog.work import Role, Work
from server.tape.merging import MERGER_RELEASE


def settling(work: Work, merged_id: int, ruling: Settling, limit: int) -> Chosen:
    """The readings of a merged reading, to be merged again with one more frame settled by eye.

    Raises:
        NotFound: there is no such merged reading.
        Invalid: it has no such dispute, or the ruling cannot be meant.
        Conflict: another follows it already, or an earlier release of the merger made it.
    """
    work.actor.require(Role.ARCHIVIST)
    before = merged.get(work, merged_id)
    _require_newest(before)
    merged.dispute(work, merged_id, ruling.column)  # refuses what is none
    _require_meant(ruling, before)
    numbers = tuple(each.reading.id for each in before.sources)
    chosen = choose(work, NewMerge(readings=numbers), limit)
    return replace(
        chosen,
        settlements=_settled_anew(work, before.settlements, ruling),
        follows=merged_id,
        ruled=ruling,
    )


def followed(merged_id: int | None, follower: int | None = None) -> Conflict:
    """The refusal of a second merged reading that would follow the same one."""
    by = "" if follower is None else f": {follower}"
    return Conflict(
        f"Somebody settled another frame of merged reading {merged_id} meanwhile; another "
        f"follows it{by}.",
        where=str(merged_id),
        mend="Open the newest, and settle the frame there.",
    )


def _require_newest(before: MergedRecord) -> None:
    if before.row.followed_by is not None:
        raise followed(before.row.id, before.row.followed_by)
    if before.release != MERGER_RELEASE:
        raise Conflict(
            f"Merged reading {before.row.id} was made by an earlier release of the merger, which "
            "counted its disputes in another way.",
            where=str(before.row.id),
            mend="Merge its readings again, and settle the frame there.",
        )


def _require_meant(ruling: Settling, before: MergedRecord) -> None:
    settled = {each.column: each.value for each in before.settlements}
    if ruling.ruling is Ruling.FRAME:
        if ruling.value is None:
            raise refused("value", "Give the frame that is punched there.", "Choose its holes.")
        if ruling.value >> before.levels:
            raise refused(
                "value",
                f"A {before.levels}-level tape has no frame {ruling.value:02X}.",
                "Choose holes that the tape has.",
            )
    if ruling.ruling is Ruling.AS_VOTED:
        if ruling.column not in settled:
            raise refused("ruling", "Nobody settled this frame by eye.", "Leave it as it is.")
        return
    if ruling.column in settled and settled[ruling.column] == ruling.frame:
        raise refused("ruling", "The frame is settled so already.", "Leave it as it is.")


def _settled_anew(
    work: Work, before: Sequence[Settlement], ruling: Settling
) -> tuple[Settlement, ...]:
    kept = [each for each in before if each.column != ruling.column]
    if ruling.ruling is not Ruling.AS_VOTED:
        kept.append(Settlement(ruling.column, ruling.frame, work.actor.name, work.now, ruling.note))
    return tuple(sorted(kept, key=lambda each: each.column))
