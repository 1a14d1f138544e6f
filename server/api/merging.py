"""Merged readings: what several readings of one tape came to, and settling what stayed open."""

from collections.abc import Iterator
from datetime import datetime
from http import HTTPStatus
from itertools import groupby
from typing import Annotated, Self

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.addresses import address, created
from server.api.caller import SIGNED_IN, CallerDep
from server.api.models import ReadingOut
from server.api.paging import PageOut, page_out
from server.api.problems import CHANGE, responses
from server.catalog import merge_choice, merged, merging, settling
from server.catalog.inputs import OrNone, Sha256
from server.catalog.merging_values import (
    DisputeRecord,
    MergedRecord,
    NewMerge,
    Settling,
    SourceRecord,
)
from server.catalog.tape_values import AccessionNumber, Page, PageQuery
from server.delivery.merge_facts import SourceFacts, source_facts
from server.inspection import Fields
from server.tape.holes import holes
from server.tape.merging import AgreementKind, SettledBy

router = APIRouter(prefix="/merged-readings", tags=["merged readings"])

MergedId = Annotated[int, Path(description="Number of the merged reading.", ge=1, le=2**31 - 1)]


class MergedQuery(PageQuery):
    """Which merged readings: those of one tape, those that concern one image, or all."""

    tape: Annotated[
        AccessionNumber | None, OrNone, Field(description="Accession number of the tape.")
    ] = None
    image: Annotated[
        Sha256 | None,
        OrNone,
        Field(description="An image that was merged, or that came of it, by its SHA-256."),
    ] = None


class DisputeQuery(PageQuery):
    """Which disputes: those settled in one way, or all."""

    settled_by: Annotated[SettledBy | None, OrNone] = None
    page_size: Annotated[int, Field(ge=1, le=1000)] = 100


class MergedRowOut(Fields):
    """A merged reading in a list."""

    id: int = Field(description="Number of the merged reading.")
    sha256: str = Field(description="Name of the merged image.")
    tape: str | None = Field(description="Accession number of the tape, or null.")
    made: datetime = Field(description="When it was made, in UTC.")
    by: str = Field(description="Who made it.")
    readings: list[int] = Field(description="Numbers of the readings, in the order of the votes.")
    counts: dict[str, int] = Field(description="How many disputes each of these settled.")
    disputes: int = Field(description="How many disputes there were.")
    open: int = Field(description="How many of them nothing settled.")
    agree: bool = Field(description="Whether it gave the verification `readings agree`.")
    follows: int | None = Field(description="The merged reading that a frame was settled in.")
    followed_by: int | None = Field(description="The merged reading that follows this one.")


class SourceOut(SourceFacts):
    """A reading as it lies on the merged image; counts are of frames, against that image."""

    reading: ReadingOut = Field(description="The reading.")
    is_equal: bool = Field(
        description="Whether it is the merged image, but for leader and trailer."
    )

    @classmethod
    def of(cls, record: SourceRecord) -> Self:
        """The shape of a source."""
        return cls(
            reading=ReadingOut.model_validate(record.reading),
            is_equal=record.is_equal,
            **source_facts(record.source),
        )


class SettlementOut(Fields):
    """A disputed frame that an archivist settled by eye."""

    column: int = Field(description="The dispute, by its column.")
    value: int | None = Field(description="The frame that stands there; null where none does.")
    by: str = Field(description="Who settled it.")
    at: datetime = Field(description="When, in UTC.")
    note: str = Field(description="What was seen.")


class ConfidenceOut(Fields):
    """A run of frames that are equally sure."""

    frame: int = Field(description="First frame of the run.")
    frames: int = Field(description="How many frames it has.")
    percent: int = Field(description="How sure they are, in whole percent, never rounded up.")


class MergedOut(MergedRowOut):
    """A merged reading with its evidence; its disputes are under `/disputes`."""

    release: str = Field(description="Release of the merger that made it.")
    agreement: AgreementKind = Field(
        description="What the merger found: `equal` readings, every dispute settled by "
        "`checksum`, or `not`."
    )
    sentence: str = Field(description="Why the readings are held to agree, or not.")
    sources: list[SourceOut] = Field(description="The readings that it was made from.")
    settlements: list[SettlementOut] = Field(description="What was settled by eye.")
    confidence: list[ConfidenceOut] = Field(
        description="How sure each frame of the image is, as runs of equal confidence."
    )

    @classmethod
    def of(cls, record: MergedRecord) -> Self:
        """The shape of a merged reading."""
        return cls(
            **dict(MergedRowOut.model_validate(record.row)),
            release=record.release,
            agreement=record.agreement,
            sentence=record.judgement.sentence,
            sources=[SourceOut.of(each) for each in record.sources],
            settlements=[SettlementOut.model_validate(each) for each in record.settlements],
            confidence=list(_runs(record.confidence)),
        )


class VoteOut(Fields):
    """What one reading has at a disputed place."""

    reading: int = Field(description="Number of the reading.")
    value: int | None = Field(description="The frame that it has there; null where it has none.")
    holes: str | None = Field(description="The same as holes (o) and paper (.), channel 1 last.")
    frame: int | None = Field(
        description="Frame of the reading, as it was read, where that lies or beside which it is "
        "missing; null where the reading does not reach so far."
    )


class DisputeOut(Fields):
    """A place where the readings disagreed."""

    column: int = Field(description="Names the place: settling others does not move it.")
    frame: int | None = Field(
        description="Frame of the merged image; null where it has none there."
    )
    position_mm: float | None = Field(description="Where that lies from the first, in millimetres.")
    votes: list[VoteOut] = Field(description="What each reading has there.")
    chosen: int | None = Field(description="The frame that stands there; null where none does.")
    settled_by: SettledBy = Field(description="What settled it; `open` where nothing did.")
    confidence: float = Field(description="How sure that is, from 0 to 1.")
    settlement: SettlementOut | None = Field(description="Who settled it by eye, or null.")

    @classmethod
    def of(cls, record: DisputeRecord, row: MergedRecord) -> Self:
        """The shape of a dispute of the merged reading `row`."""
        dispute = record.dispute
        numbers = row.row.readings
        places = zip(numbers, dispute.votes, dispute.sources, strict=True)
        settlement = record.settlement
        return cls(
            column=dispute.column,
            frame=dispute.frame,
            position_mm=record.position_mm,
            votes=[
                VoteOut(
                    reading=number,
                    value=value,
                    holes=None if value is None else holes(value, row.levels),
                    frame=frame,
                )
                for number, value, frame in places
            ],
            chosen=dispute.chosen,
            settled_by=dispute.settled_by,
            confidence=dispute.confidence,
            settlement=None if settlement is None else SettlementOut.model_validate(settlement),
        )


def _runs(confidence: bytes) -> Iterator[ConfidenceOut]:
    at = 0
    for percent, run in groupby(confidence):
        frames = sum(1 for _ in run)
        yield ConfidenceOut(frame=at, frames=frames, percent=percent)
        at += frames


@router.get("", responses=responses("not-found", "invalid"))
def list_merged_readings(
    request: Request,
    response: Response,
    caller: CallerDep,
    query: Annotated[MergedQuery, Query()],
) -> PageOut[MergedRowOut]:
    """Merged readings, newest first, of all tapes, of one, or of an image, a page at a time."""
    with caller.reading() as work:
        page = merged.page(
            work, tape=query.tape, image=query.image, page=query.page, page_size=query.page_size
        )
        return page_out(request, response, page, MergedRowOut)


@router.post(
    "",
    status_code=HTTPStatus.CREATED,
    dependencies=SIGNED_IN,
    responses=created("The merged reading was kept.")
    | responses(*CHANGE, "conflict", "fixity-failed"),
)
def merge_readings(
    request: Request, response: Response, caller: CallerDep, new: NewMerge
) -> MergedOut:
    """Merge readings of one tape, and keep what they come to (volunteers).

    No reading is changed. The merged image is taken in as an upload is; where the readings agree
    by the rule, it is verified by that.
    """
    limit = caller.settings.upload_limit_bytes
    record = merging.carry_out(
        caller.reading,
        caller.work,
        lambda work: merge_choice.choose(work, new, limit),
        formats=caller.formats,
        expected=new.sha256,
    )
    return _made(request, response, record)


@router.get("/{merged_id}", responses=responses("not-found", "invalid"))
def get_merged_reading(merged_id: MergedId, caller: CallerDep) -> MergedOut:
    """A merged reading: the readings it was made from, how each lies on it, and how sure it is."""
    with caller.reading() as work:
        return MergedOut.of(merged.get(work, merged_id))


@router.get("/{merged_id}/disputes", responses=responses("not-found", "invalid"))
def list_disputes(
    request: Request,
    response: Response,
    merged_id: MergedId,
    caller: CallerDep,
    query: Annotated[DisputeQuery, Query()],
) -> PageOut[DisputeOut]:
    """The places where the readings disagreed, in the order of the tape, a page at a time."""
    with caller.reading() as work:
        record = merged.get(work, merged_id)
        page = merged.disputes(
            work,
            merged_id,
            settled_by=query.settled_by,
            page=query.page,
            page_size=query.page_size,
        )
    rows = tuple(DisputeOut.of(each, record) for each in page.rows)
    return page_out(
        request, response, Page(rows, page.total, page.page, page.page_size), DisputeOut
    )


@router.post(
    "/{merged_id}/settlements",
    status_code=HTTPStatus.CREATED,
    dependencies=SIGNED_IN,
    responses=created("The merged reading that follows was kept.")
    | responses(*CHANGE, "not-found", "conflict", "fixity-failed"),
)
def settle_dispute(
    request: Request, response: Response, merged_id: MergedId, caller: CallerDep, given: Settling
) -> MergedOut:
    """Settle a disputed frame by eye (archivists): a new merged reading follows this one."""
    limit = caller.settings.upload_limit_bytes
    record = merging.carry_out(
        caller.reading,
        caller.work,
        lambda work: settling.settling(work, merged_id, given, limit),
        formats=caller.formats,
    )
    return _made(request, response, record)


def _made(request: Request, response: Response, record: MergedRecord) -> MergedOut:
    where = address(request, "get_merged_reading", merged_id=record.row.id)
    response.headers["Location"] = where
    return MergedOut.of(record)
