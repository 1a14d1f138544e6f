"""Merging readings: several poor readings of one tape become one image, with its evidence.

Four steps, so that the slow ones hold no lock: `choose` reads what is to be merged, `work_out`
merges it, `meet` compares the image with what it resembles, `keep` writes all down in one
transaction. No reading is ever changed: a merged reading is a record of its own beside them.
"""

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import asdict, replace
from typing import Any, Final

from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import accession, events, images, merged, verification
from server.catalog.agreement import by_number, judge
from server.catalog.errors import Conflict, Invalid, as_sentence, refused
from server.catalog.events import EventType, ObjectKind
from server.catalog.merging_values import (
    Chosen,
    MergedRecord,
    Settlement,
    WorkedOut,
)
from server.catalog.records import ReadingRecord
from server.catalog.settling import followed
from server.catalog.uploads import Upload
from server.catalog.work import Role, Work
from server.store.images import Reading
from server.store.merging import MergedReading, MergedSource, pack_confidence, pack_disputes
from server.tape.errors import TapeError
from server.tape.formats import FORMATS, Formats
from server.tape.merging import MERGER_RELEASE, merge

FILE_NAME: Final = "merged reading.tape"
"""What the image of a merged reading is called where it has no tape."""

MERGER: Final = f"merger {MERGER_RELEASE}"

_AS_THEY_ARE: Final = ("orientation", "start", "flipped", "dropped", "doubled", "added", "score")
"""Of a source of the core, what its row holds under the same name."""

Transaction = Callable[[], AbstractContextManager[Work]]


def carry_out(
    reading: Transaction,
    writing: Transaction,
    choice: Callable[[Work], Chosen],
    *,
    formats: Formats = FORMATS,
    expected: str | None = None,
) -> MergedRecord:
    """Merge what `choice` chooses and keep it: all steps, each in the transaction that it needs.

    Raises:
        Invalid, Conflict: as `choose`, `work_out` and `keep`.
    """
    with reading() as work:
        chosen = choice(work)
    worked_out = work_out(chosen, formats)
    with reading() as work:
        worked_out = meet(work, worked_out)
    with writing() as work:
        return keep(work, worked_out, expected)


def work_out(chosen: Chosen, formats: Formats = FORMATS) -> WorkedOut:
    """What the chosen readings come to, decoded as one of `formats`: needs no database.

    Raises:
        Invalid: they cannot be brought together, as where they have nothing in common.
    """
    settled = {each.column: each.value for each in chosen.settlements}
    try:
        made = merge(chosen.images, settled, formats)
    except TapeError as error:
        raise _cannot(error, chosen.readings) from None
    upload = Upload(
        file_name=FILE_NAME, data=made.image.frames, tape=chosen.tape, levels=made.image.levels
    )
    examined = accession.examine(upload, len(upload.data), formats)
    return WorkedOut(chosen, made, examined, judge(made.agreement, chosen))


def meet(work: Work, worked_out: WorkedOut) -> WorkedOut:
    """The same, its image compared with what it resembles, so that `keep` has less to do."""
    return replace(worked_out, examined=accession.meet(work, worked_out.examined))


def keep(work: Work, worked_out: WorkedOut, expected: str | None = None) -> MergedRecord:
    """Keep the merged image, how it came about, and that readings agree if they do.

    Raises:
        Conflict: it is not the image that was `expected`, a reading was put to another tape
            meanwhile, the same merged reading is kept already, or another follows the one that
            this is to follow.
    """
    chosen = worked_out.chosen
    work.actor.require(Role.ARCHIVIST if chosen.ruled else Role.VOLUNTEER)
    _require_expected(worked_out, expected)
    _require_unmoved(work, chosen)
    _require_new(work, worked_out)
    numbers = [each.id for each in chosen.readings]
    receipt = accession.accept(work, worked_out.examined, merged_from=numbers)
    merged_id = _add(work, worked_out, receipt.reading_id)
    _log_ruling(work, worked_out, merged_id)
    if worked_out.judgement.agree:
        _vouch(work, worked_out, merged_id)
    return merged.get(work, merged_id)


def _cannot(error: TapeError, readings: Sequence[ReadingRecord]) -> Invalid:
    what = by_number(as_sentence(error.what), readings)
    place = "" if error.frame is None else f" See frame {error.frame:,}."
    return refused("readings", f"{what}{place}", as_sentence(error.mend))


def _require_expected(worked_out: WorkedOut, expected: str | None) -> None:
    if expected is not None and expected != worked_out.sha256:
        raise Conflict(
            "The readings do not come to the image that you saw.",
            where=worked_out.sha256,
            mend="Look at what they come to now, and keep that.",
        )


def _require_unmoved(work: Work, chosen: Chosen) -> None:
    numbers = [each.id for each in chosen.readings]
    now = images.readings_where(work, col(Reading.id).in_(numbers))
    if [each.tape for each in now] != [each.tape for each in chosen.readings]:
        raise Conflict(
            "One of the readings was put to another tape meanwhile.",
            where="readings",
            mend="Look at the readings as they are now, and merge them again.",
        )


def _require_new(work: Work, worked_out: WorkedOut) -> None:
    """Refuse what would say once more what is kept already."""
    chosen = worked_out.chosen
    if chosen.follows is not None:
        return
    numbers = tuple(each.id for each in chosen.readings)
    for row in merged.rows_of_readings(work, numbers):
        if row.readings == numbers and row.sha256 == worked_out.sha256 and row.follows is None:
            raise Conflict(
                f"These readings are merged already, to the same image: see merged reading "
                f"{row.id}.",
                where=str(row.id),
                mend="Settle what is open there, or read the tape once more.",
            )


def _add(work: Work, worked_out: WorkedOut, reading_id: int) -> int:
    chosen, made = worked_out.chosen, worked_out.merged
    row = MergedReading(
        reading_id=reading_id,
        follows_id=chosen.follows,
        release=MERGER_RELEASE,
        agreement=made.agreement.kind,
        sentence=worked_out.judgement.sentence,
        settlements=[_plain(each) for each in chosen.settlements],
        counts={str(word): count for word, count in worked_out.counts.items()},
        made_at=work.now,
        made_by_id=work.actor.person_id,
        disputes=pack_disputes(made.disputes, len(chosen.readings)),
        confidence=pack_confidence(made.confidence),
    )
    try:
        with work.session.begin_nested():
            work.session.add(row)
    except IntegrityError:
        raise followed(chosen.follows) from None
    assert row.id is not None
    work.session.add_all(_sources(worked_out, row.id))
    work.session.flush()
    return row.id


def _plain(settlement: Settlement) -> dict[str, Any]:
    return asdict(settlement) | {"at": settlement.at.isoformat()}


def _sources(worked_out: WorkedOut, merged_id: int) -> list[MergedSource]:
    return [
        MergedSource(
            merged_id=merged_id,
            place=place,
            reading_id=each.reading.id,
            stop=each.source.span.stop,
            is_equal=each.is_equal,
            **{name: getattr(each.source, name) for name in _AS_THEY_ARE},
        )
        for place, each in enumerate(worked_out.sources)
    ]


def _log_ruling(work: Work, worked_out: WorkedOut, merged_id: int) -> None:
    chosen = worked_out.chosen
    if chosen.ruled is None:
        return
    facts = {
        **chosen.ruled.model_dump(mode="json", exclude={"note"}),
        "merged_reading": merged_id,
        "follows": chosen.follows,
    }
    events.record(
        work,
        EventType.SETTLEMENT,
        ObjectKind.IMAGE,
        worked_out.sha256,
        outcome=chosen.ruled.ruling,
        detail=chosen.ruled.note,
        facts=facts,
    )


def _vouch(work: Work, worked_out: WorkedOut, merged_id: int) -> None:
    chosen, agreement = worked_out.chosen, worked_out.merged.agreement
    numbers = [each.id for each in chosen.readings]
    named = ", ".join(map(str, numbers))
    facts = {
        "merged_reading": merged_id,
        "readings": numbers,
        "equal": [numbers[place] for place in agreement.readings],
        "rule": agreement.kind,
        "merger_release": MERGER_RELEASE,
    }
    evidence = f"Merged reading {merged_id}, of readings {named}: {worked_out.judgement.sentence}"
    verification.record_agreement(work, worked_out.sha256, evidence, facts, MERGER)
