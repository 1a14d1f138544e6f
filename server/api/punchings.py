"""Punchings: prepared frames on their way to a new tape, and that tape read back."""

from datetime import date, datetime
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.addresses import address, created
from server.api.caller import SIGNED_IN, CallerDep
from server.api.images import FRAMES_ANSWERS
from server.api.models import VersionLinkOut
from server.api.paging import PageOut, page_out
from server.api.problems import CHANGE, responses
from server.api.uploads import FORM_DESCRIPTION, UploadDep
from server.catalog import preparing, punching, punching_start, read_back_words, read_backs
from server.catalog.errors import Invalid
from server.catalog.inputs import Input, Sha256
from server.catalog.punching_values import (
    GivenUp,
    Punched,
    PunchingQuery,
    PunchingRecord,
    ReadBackFile,
    ReadBackRecord,
    Status,
)
from server.catalog.tape_values import RecordNumber
from server.catalog.work import Role
from server.delivery.frames import ASK_AGAIN, Frames, deliver
from server.delivery.prepared_facts import StretchFacts
from server.inspection import Fields
from server.tape.estimate import length_mm
from server.tape.holes import channels
from server.tape.image import Orientation
from server.tape.read_back import Kind

router = APIRouter(prefix="/punchings", tags=["punchings"])

PunchingId = Annotated[int, Path(description="Number of the punching.", ge=1, le=2**31 - 1)]

STEP = responses(*CHANGE, "not-found", "conflict")


class NewPunching(Input):
    """An image to be prepared and punched."""

    image: Annotated[Sha256, Field(description="Name of the image to punch from.")]
    version: Annotated[
        RecordNumber | None,
        Field(description="Number of the version that it is master of; the newest if left out."),
    ] = None
    preparation: dict[str, Any] = Field(
        default_factory=dict,
        description="How to prepare it, by the field names of a preparation.",
    )
    acknowledged: Annotated[
        bool, Field(description="Whether it may be punched though nothing vouches for it.")
    ] = False


class ReelOut(Fields):
    """One of the reels that were prepared together."""

    id: int = Field(description="Number of its punching.")
    reel: int = Field(description="Which reel, from 1.")
    status: Status = Field(description="How far it has come.")
    tape: str | None = Field(description="Accession number of the tape made, or null.")


class EndOut(Fields):
    """Leader or trailer, in frames."""

    prepared: int = Field(description="Frames prepared.")
    read: int = Field(description="Frames of them that were read and compared.")
    extra: int = Field(description="Idle frames read beyond them.")


class ChannelOut(Fields):
    """Whose holes differ, over all changed frames."""

    channel: int = Field(description="The channel, from 1.")
    lacking: int = Field(description="Frames in which its hole was prepared, and not read.")
    extra: int = Field(description="Frames in which its hole was read, and not prepared.")


class PlaceOut(Fields):
    """Neighbouring frames that differ in one way."""

    kind: Kind = Field(description="`changed`, `missing` (not read) or `extra` (not prepared).")
    frame: int = Field(description="First frame in the prepared tape, from 0.")
    position_mm: float = Field(description="Its distance from the first, in millimetres.")
    read_frame: int = Field(description="First frame in the reading as it was read, from 0.")
    frames: int = Field(description="How many frames.")
    prepared: list[list[int]] = Field(description="Channels with holes, of the first 16 frames.")
    read: list[list[int]] = Field(description="The same of what was read.")
    description: str = Field(description="The same in words.")


class ReadBackOut(Fields):
    """A reading of the new tape, compared with what was prepared, frame by frame."""

    id: int = Field(description="Number of the reading back.")
    same: bool = Field(description="Whether all is as prepared.")
    sentences: list[str] = Field(description="The comparison in words.")
    sha256: str = Field(description="SHA-256 of the frames read.")
    frames: int = Field(description="How many frames were read.")
    file_name: str = Field(description="Name of the file as it was sent.")
    read_on: date | None = Field(description="Day of the reading.")
    reader: str = Field(description="The machine that read it.")
    at: datetime = Field(description="When it was compared, in UTC.")
    by: str = Field(description="Who sent it.")
    image: str | None = Field(description="Name of the image it became; null where it differs.")
    orientation: Orientation = Field(description="How the tape lay in the reader.")
    compared: int = Field(description="How many prepared frames were compared.")
    differing: int | None = Field(
        description="Frames that differ; null where the two have too little in common to tell."
    )
    total: int = Field(description="How many places differ; the first 50 are given.")
    leader: EndOut = Field(description="What was read of the leader.")
    trailer: EndOut = Field(description="What was read of the trailer.")
    channels: list[ChannelOut] = Field(description="Whose holes differ.")
    places: list[PlaceOut] = Field(description="Where frames differ.")


class PunchingRowOut(Fields):
    """A punching in a list."""

    id: int = Field(description="Number of the punching.")
    title: str = Field(description="What is punched.")
    reel: int = Field(description="Which reel, from 1.")
    reels: int = Field(description="How many reels were prepared together.")
    status: Status = Field(description="How far it has come.")
    image: str = Field(description="Name of the image that is punched from.")
    version: VersionLinkOut | None = Field(description="The version that it is master of, or null.")
    tape: str | None = Field(description="Accession number of the tape made, or null.")
    frames: int = Field(description="How many frames were prepared.")
    prepared_at: datetime = Field(description="When it was prepared, in UTC.")
    prepared_by: str = Field(description="Who prepared it.")


class PunchingOut(PunchingRowOut):
    """A punching, step by step."""

    together: list[ReelOut] = Field(description="All reels that were prepared together.")
    from_verified: bool = Field(description="Whether anything vouches for that image.")
    preparation: dict[str, Any] = Field(description="The choices of the preparation.")
    changes: list[str] = Field(description="In what it differs from the image, in words.")
    cautions: list[str] = Field(description="What whoever punches or loads it must heed.")
    lettering: str = Field(description="What is punched as letters in the leader.")
    format: str = Field(description="Record format of the prepared tape.")
    sha256: str = Field(description="SHA-256 of the prepared frames.")
    levels: int = Field(description="Code holes across the tape.")
    data: StretchFacts = Field(description="The prepared frames that carry the content.")
    length_mm: float = Field(description="Length of the whole tape, in millimetres.")
    punched_on: date | None = Field(description="Day on which it was punched.")
    punched_at: datetime | None = Field(description="When that was said, in UTC.")
    punched_by: str | None = Field(description="Who said so.")
    medium: str | None = Field(description="On what it was punched.")
    punch: str = Field(description="On which machine.")
    rate: float | None = Field(description="At how many frames a second.")
    note: str = Field(description="Anything else.")
    read_backs: list[ReadBackOut] = Field(description="Readings of the new tape, oldest first.")
    revision: int = Field(description="Rises with each step.")


def _out(record: PunchingRecord) -> PunchingOut:
    plain = {name: getattr(record, name) for name in PunchingOut.model_fields}
    plain["read_backs"] = [_read_back_out(each) for each in record.read_backs]
    return PunchingOut.model_validate(plain)


def _read_back_out(record: ReadBackRecord) -> ReadBackOut:
    comparison = record.comparison
    places = [
        PlaceOut(
            kind=place.kind,
            frame=place.frame,
            position_mm=length_mm(place.frame),
            read_frame=place.read_frame,
            frames=place.frames,
            prepared=[list(channels(each)) for each in place.prepared],
            read=[list(channels(each)) for each in place.read],
            description=read_back_words.place_in_words(place),
        )
        for place in comparison.places
    ]
    own = {"sentences": read_back_words.sentences(comparison), "places": places}
    plain = {
        name: getattr(record if hasattr(record, name) else comparison, name)
        for name in ReadBackOut.model_fields
        if name not in own
    }
    return ReadBackOut.model_validate(plain | own)


@router.get("", responses=responses("not-found", "invalid"))
def list_punchings(
    request: Request,
    response: Response,
    caller: CallerDep,
    query: Annotated[PunchingQuery, Query()],
) -> PageOut[PunchingRowOut]:
    """Punchings, newest first: all, or those of a tape, an image, a program or one status."""
    with caller.reading() as work:
        return page_out(request, response, punching.page(work, query), PunchingRowOut)


@router.post(
    "",
    status_code=HTTPStatus.CREATED,
    dependencies=SIGNED_IN,
    responses=created("The punchings were begun, one a reel.", "Address of the first.")
    | responses(*CHANGE, "not-found", "not-verified", "fixity-failed"),
)
def begin_punching(
    request: Request, response: Response, caller: CallerDep, new: NewPunching
) -> list[PunchingOut]:
    """Prepare an image and keep its frames to be punched (volunteers): one punching a reel.

    The same frames, prepared again by the same person before they were punched, are the punching
    that waits already.
    """
    caller.require(Role.VOLUNTEER)
    how = preparing.of_words(new.preparation)
    with caller.reading() as work:
        prepared = preparing.prepare(
            work, new.image, how, acknowledged=new.acknowledged, formats=caller.formats
        )
    with caller.work() as work:
        begun = punching_start.begin(work, new.image, how, prepared, new.version)
    response.headers["Location"] = address(request, "get_punching", punching_id=begun[0].id)
    return [_out(each) for each in begun]


@router.get("/{punching_id}", responses=responses("not-found", "invalid"))
def get_punching(punching_id: PunchingId, caller: CallerDep) -> PunchingOut:
    """A punching, and all that was done about it."""
    with caller.reading() as work:
        return _out(punching.get(work, punching_id))


@router.get(
    "/{punching_id}/frames",
    response_class=Response,
    dependencies=SIGNED_IN,
    responses=FRAMES_ANSWERS
    | responses(
        "malformed",
        "not-found",
        "no-such-range",
        "invalid",
        "not-allowed",
        "conflict",
        "fixity-failed",
    ),
)
def get_prepared_frames(punching_id: PunchingId, caller: CallerDep, request: Request) -> Response:
    """The prepared frames, one byte each, for the punch (volunteers).

    They never change. The header Feedhole-Verification says whether anything vouches for the
    image that they were prepared from. A part can be asked for, so that a punch that was stopped
    goes on at a frame.
    """
    with caller.reading() as work:
        found = punching.frames(work, punching_id)
    return deliver(Frames.of(found), request.headers, cache=ASK_AGAIN)


@router.post("/{punching_id}/punched", dependencies=SIGNED_IN, responses=STEP)
def say_punched(punching_id: PunchingId, caller: CallerDep, given: Punched) -> PunchingOut:
    """Say that the tape was punched: on what, by which machine, how fast, when (volunteers)."""
    with caller.work() as work:
        return _out(punching.punched(work, punching_id, given))


@router.post(
    "/{punching_id}/read-backs",
    dependencies=SIGNED_IN,
    openapi_extra=FORM_DESCRIPTION,
    responses=responses(*CHANGE, "not-found", "conflict", "digest-mismatch"),
)
def read_back(punching_id: PunchingId, caller: CallerDep, upload: UploadDep) -> PunchingOut:
    """Send a reading of the new tape; if it is as prepared, the tape is accessioned (volunteers).

    The fields `tape` and `levels` are not for this: the archive gives the number, and knows the
    levels. Where the reading differs nothing is accessioned, and the answer says where to look.
    """
    _refuse_given(upload.tape, upload.levels)
    names = ("file_name", "data", "read_on", "reader", "sha256")
    file = ReadBackFile.of({name: getattr(upload, name) for name in names})
    limit = caller.settings.upload_limit_bytes
    with caller.reading() as work:
        compared = read_backs.compare(work, punching_id, file, limit, caller.formats)
    with caller.work() as work:
        return _out(read_backs.settle(work, compared))


def _refuse_given(tape: str | None, levels: int | None) -> None:
    given = {"tape": tape, "levels": levels}
    fields = {name: "leave this out" for name, value in given.items() if value is not None}
    if fields:
        raise Invalid(
            "A reading back has no tape or levels to give.",
            where=", ".join(fields),
            mend="Send file, and read_on, reader and sha256 if they are known.",
            fields=fields,
        )


@router.post("/{punching_id}/again", dependencies=SIGNED_IN, responses=STEP)
def punch_again(punching_id: PunchingId, caller: CallerDep) -> PunchingOut:
    """Go back to where the frames wait for the punch, also after giving up (volunteers)."""
    with caller.work() as work:
        return _out(punching.again(work, punching_id))


@router.post("/{punching_id}/give-up", dependencies=SIGNED_IN, responses=STEP)
def give_up(punching_id: PunchingId, caller: CallerDep, given: GivenUp) -> PunchingOut:
    """Say that no tape comes of it (volunteers); it can be taken up again."""
    with caller.work() as work:
        return _out(punching.give_up(work, punching_id, given))
