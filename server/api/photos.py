"""Photos of tapes: added, listed, described in words, taken away, and the pictures themselves."""

from collections.abc import AsyncIterator
from datetime import datetime
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Path, Request, Response
from pydantic import Field
from starlette.datastructures import UploadFile

from server import statuses
from server.api.addresses import address
from server.api.caller import SIGNED_IN, CallerDep
from server.api.problems import CHANGE, responses
from server.api.tapes import Number
from server.api.uploads import form_in
from server.catalog import photos
from server.catalog.errors import Invalid
from server.catalog.photos import Sent, Shows
from server.catalog.pixels import KEPT_TYPE
from server.catalog.work import Role
from server.delivery.bodies import is_form
from server.inspection import Fields
from server.statuses import Refused

router = APIRouter(tags=["photos"])

PhotoId = Annotated[int, Path(description="Number of the photo.", ge=1, le=2**31 - 1)]

_FORM: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["file"],
                    "properties": {
                        "file": {
                            "type": "string",
                            "contentMediaType": "image/*",
                            "description": "A photo: JPEG, PNG or WebP.",
                        },
                        "shows": {
                            "type": "string",
                            "description": "What it shows, in a sentence.",
                        },
                        "report": {
                            "type": "integer",
                            "description": "Number of the condition report it belongs to.",
                        },
                    },
                    "additionalProperties": False,
                }
            }
        },
    }
}
_CHANGING = responses(*CHANGE, "not-found")
_PICTURE: Final[dict[int | str, dict[str, Any]]] = {
    200: {
        "description": "The picture.",
        "content": {KEPT_TYPE: {"schema": {"type": "string", "contentMediaType": KEPT_TYPE}}},
    },
    **responses("not-found", "invalid"),
}


class PhotoOut(Fields):
    """A photo of a tape: written anew, upright, without what the camera added."""

    id: int = Field(description="Number of the photo.")
    sha256: str = Field(description="SHA-256 of the picture as it is kept, in hexadecimal.")
    tape: str = Field(description="Accession number of the tape.")
    report: int | None = Field(description="The condition report that it belongs to, or null.")
    shows: str = Field(description="What it shows; empty where nobody said it yet.")
    width: int = Field(description="Width in points.")
    height: int = Field(description="Height in points.")
    added: datetime = Field(description="When it was added, in UTC.")
    by: str = Field(description="Who added it.")


class _Given(Shows):
    """What goes with a photo."""

    report: int | None = None


async def _photo(request: Request, caller: CallerDep) -> AsyncIterator[tuple[Sent, _Given]]:
    caller.require(Role.VOLUNTEER)
    if not is_form(request.scope):
        raise Refused(
            statuses.WRONG_MEDIA_TYPE,
            "A photo is sent in a form.",
            where="Content-Type",
            mend="Send multipart/form-data with a part named file.",
        )
    async with form_in(request) as form:
        file = form.get("file")
        if not isinstance(file, UploadFile):
            raise Invalid(
                "The form has no file in it.",
                where="file",
                mend="Send the photo in a part named file, with a file name.",
                fields={"file": "this must be given"},
            )
        given = _Given.of({name: form[name] for name in form if name != "file"})
        yield Sent(file.filename or "photo", await file.read()), given


PhotoDep = Annotated[tuple[Sent, _Given], Depends(_photo)]


@router.get("/tapes/{number}/photos", responses=responses("not-found"))
def list_photos(number: Number, caller: CallerDep) -> list[PhotoOut]:
    """The photos of a tape, the newest first."""
    with caller.reading() as work:
        return [PhotoOut.model_validate(each) for each in photos.of_tape(work, number)]


@router.post(
    "/tapes/{number}/photos",
    status_code=HTTPStatus.CREATED,
    dependencies=SIGNED_IN,
    openapi_extra=_FORM,
    responses=responses(*CHANGE, "not-found", "too-large"),
)
def add_photo(
    number: Number, request: Request, response: Response, caller: CallerDep, sent: PhotoDep
) -> PhotoOut:
    """Add a photo of a tape (volunteers). It is decoded and written anew, without its location."""
    file, given = sent
    taken = photos.rewritten([file], caller.settings.photo_limit_bytes)
    with caller.work() as work:
        (added,) = photos.add(work, number, taken, given.shows, given.report)
    response.headers["Location"] = address(request, "get_photo", photo_id=added.id)
    return PhotoOut.model_validate(added)


@router.get("/photos/{photo_id}", responses=responses("not-found", "invalid"))
def get_photo(photo_id: PhotoId, caller: CallerDep) -> PhotoOut:
    """What is known of a photo."""
    with caller.reading() as work:
        return PhotoOut.model_validate(photos.get(work, photo_id))


@router.get("/photos/{photo_id}/whole", response_class=Response, responses=_PICTURE)
def get_whole_photo(photo_id: PhotoId, caller: CallerDep) -> Response:
    """The photo, as large as it is kept."""
    with caller.reading() as work:
        return Response(photos.whole(work, photo_id), media_type=KEPT_TYPE)


@router.get("/photos/{photo_id}/small", response_class=Response, responses=_PICTURE)
def get_small_photo(photo_id: PhotoId, caller: CallerDep) -> Response:
    """The photo made small."""
    with caller.reading() as work:
        return Response(photos.small(work, photo_id), media_type=KEPT_TYPE)


@router.put("/photos/{photo_id}/shows", dependencies=SIGNED_IN, responses=_CHANGING)
def describe_photo(photo_id: PhotoId, caller: CallerDep, given: Shows) -> PhotoOut:
    """Say in words what a photo shows (volunteers)."""
    with caller.work() as work:
        return PhotoOut.model_validate(photos.describe(work, photo_id, given.shows))


@router.delete("/photos/{photo_id}", dependencies=SIGNED_IN, responses=_CHANGING)
def remove_photo(photo_id: PhotoId, caller: CallerDep) -> PhotoOut:
    """Take a photo away for good (whoever added it, or archivists); the log keeps what it was."""
    with caller.work() as work:
        return PhotoOut.model_validate(photos.remove(work, photo_id))
