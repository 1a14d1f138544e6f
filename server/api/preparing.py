"""Tapes prepared for the punch: what the choices come to, and each reel's frames."""

from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.caller import CallerDep
from server.api.images import FRAMES_ANSWERS, Sha256
from server.api.problems import responses
from server.catalog import preparing
from server.catalog.preparing import PreparationInput
from server.delivery.frames import ASK_AGAIN, Frames, deliver
from server.delivery.prepared_facts import PreparedFacts

router = APIRouter(tags=["images"])

ReelNumber = Annotated[int, Path(description="Which reel, from 1.", ge=1)]


class AskedPreparation(PreparationInput):
    """A preparation, and the rate that times are wanted for."""

    rate: Annotated[
        float, Field(gt=0, le=5000, description="Frames a second that the times are for.")
    ] = 70


class AskedReel(PreparationInput):
    """A preparation, and whether it is known that nothing vouches for the image."""

    acknowledged: Annotated[
        bool, Field(description="Whether it may be had though nothing vouches for the image.")
    ] = False


@router.get(
    "/images/{sha256}/prepared", responses=responses("not-found", "invalid", "fixity-failed")
)
def get_prepared(
    sha256: Sha256, caller: CallerDep, asked: Annotated[AskedPreparation, Query()]
) -> PreparedFacts:
    """What would be punched of the image: reels, their size and time, and what is changed.

    Nothing is kept. Content that is written anew is read again and must say the same; what would
    lose its meaning is refused, with the characters or the place on the tape that stand in the way.
    """
    how = preparing.of_input(asked)
    with caller.reading() as work:
        prepared = preparing.preview(work, sha256, how, caller.formats)
    return PreparedFacts.of(prepared, asked.rate)


@router.get(
    "/images/{sha256}/prepared/reels/{number}",
    response_class=Response,
    responses=FRAMES_ANSWERS
    | responses(
        "malformed", "not-found", "invalid", "not-verified", "fixity-failed", "no-such-range"
    ),
)
def get_prepared_reel(
    sha256: Sha256,
    number: ReelNumber,
    caller: CallerDep,
    request: Request,
    asked: Annotated[AskedReel, Query()],
) -> Response:
    """The frames of one reel, a byte each, to be sent to a punch.

    An image that nothing vouches for is prepared only with `acknowledged=true`. The same
    preparation of the same image gives the same frames, by this release.
    """
    how = preparing.of_input(asked)
    with caller.reading() as work:
        taken = preparing.reel(
            work, sha256, how, number, acknowledged=asked.acknowledged, formats=caller.formats
        )
    return deliver(Frames.of(taken), request.headers, cache=ASK_AGAIN)
