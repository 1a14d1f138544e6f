"""Strips of tape: frames of an image as a picture."""

from typing import Annotated

from fastapi import APIRouter, Query, Response

from server.api.caller import CallerDep
from server.api.images import Sha256
from server.api.problems import responses
from server.catalog import images, pictures

router = APIRouter(tags=["images"])

SVG = "image/svg+xml"


@router.get(
    "/images/{sha256}/strip",
    response_class=Response,
    responses={
        200: {
            "description": "The strip, in millimetres: it prints in its true size.",
            "content": {SVG: {"schema": {"type": "string"}}},
        },
        **responses("not-found", "invalid"),
    },
)
def get_strip(
    sha256: Sha256,
    caller: CallerDep,
    start: Annotated[int, Query(description="First frame, counted from 0.")] = 0,
    frames: Annotated[int, Query(description="How many frames, 400 at most.")] = 60,
    as_punched: Annotated[bool, Query(description="Turned as the tape was punched.")] = False,
) -> Response:
    """Some frames as a picture of the tape, true to scale, with the findings among them marked.

    What lies beyond the image, or beyond the longest strip, is left out. The description in the
    picture says in words what it shows.
    """
    with caller.reading() as work:
        pictured = pictures.of(work, images.get(work, sha256))
    return Response(pictured.strip(start, frames, as_punched=as_punched).svg, media_type=SVG)
