"""Places: the tree, what lies in it, and how tapes are moved."""

from datetime import datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.addresses import address
from server.api.caller import SIGNED_IN, CallerDep
from server.api.paging import PageOut, page_out
from server.api.problems import CHANGE, responses
from server.api.revisions import (
    CHANGING,
    CREATING,
    IF_MATCH,
    READING,
    Revised,
    RevisionDep,
    marked,
)
from server.catalog import lying, movements, place_records, places
from server.catalog.place_values import (
    Missing,
    Move,
    MovementQuery,
    NewPlace,
    PlaceChange,
    PlaceKind,
    PlaceMove,
    PlaceQuery,
    State,
)
from server.catalog.tape_values import PageQuery
from server.catalog.vocabulary import Condition
from server.catalog.work import Role
from server.inspection import Fields

router = APIRouter(tags=["places"])

PlaceId = Annotated[int, Path(description="Number of the place.", ge=1, le=2**31 - 1)]

TOLD = responses("not-signed-in", "not-allowed", "not-found", "invalid")
MOVED = responses(*CHANGE, "not-found", "conflict")


class PlaceLinkOut(Fields):
    """A place, for a link to it."""

    id: int = Field(description="Number of the place.")
    name: str = Field(description="Its own name.")
    path: str = Field(description="Its name behind those of what it stands in.")


class PlaceRowOut(Fields):
    """A place in a list."""

    id: int = Field(description="Number of the place.")
    parent: int | None = Field(description="Number of what it stands in, or null.")
    kind: PlaceKind = Field(description="What it is.")
    name: str = Field(description="Its own name.")
    path: str = Field(description="Its name behind those of what it stands in.")
    note: str = Field(description="Anything else.")
    depth: int = Field(description="How many places it stands in.")
    here: int = Field(description="Tapes in the place itself.")
    within: int = Field(description="Tapes in it and in all that stands in it.")
    closed: bool = Field(description="Whether it is out of use.")


class PlaceOut(Revised):
    """A place, and what stands in it."""

    id: int = Field(description="Number of the place.")
    kind: PlaceKind = Field(description="What it is.")
    name: str = Field(description="Its own name.")
    path: str = Field(description="Its name behind those of what it stands in.")
    note: str = Field(description="Anything else.")
    on: list[PlaceLinkOut] = Field(description="What it stands in, from the outermost in.")
    inside: list[PlaceRowOut] = Field(description="What stands in it.")
    here: int = Field(description="Tapes in the place itself.")
    within: int = Field(description="Tapes in it and in all that stands in it.")
    closed: datetime | None = Field(description="When it was taken out of use, in UTC, or null.")


class LyingOut(Fields):
    """A tape where it lies."""

    accession_number: str = Field(description="Accession number of the tape.")
    title: str = Field(description="Its title.")
    where: str = Field(description="Where it is: a path, `missing`, `on loan`, or nothing.")
    place: int | None = Field(description="Number of the place it is in, or null.")
    usual: str = Field(description="Path of where it belongs, or nothing.")
    condition: Condition = Field(description="How the tape stands.")
    quarantined: bool = Field(description="Whether it is held apart and must not be handled.")
    do_not_run: bool = Field(description="Whether no reader may have it without permission.")


class WhereaboutsOut(Fields):
    """Where a tape is, and where it belongs."""

    state: State = Field(description="`placed`, `unknown`, `missing` or `on loan`.")
    place: PlaceLinkOut | None = Field(description="The place it is in, or null.")
    usual: PlaceLinkOut | None = Field(description="Where it belongs, or null.")
    written: str = Field(description="The first as lists tell it.")


class MovementOut(Fields):
    """One move of one tape, as the places were called then."""

    id: int = Field(description="Number of the movement.")
    tape: str = Field(description="Accession number of the tape.")
    tape_title: str = Field(description="Its title.")
    at: datetime = Field(description="When, in UTC.")
    by: str = Field(description="Who moved it.")
    why: str = Field(description="Why.")
    from_where: str = Field(description="Where it was.")
    from_place: int | None = Field(description="Number of that place, or null.")
    to_where: str = Field(description="Where it went.")
    to_place: int | None = Field(description="Number of that place, or null.")
    with_place: PlaceLinkOut | None = Field(description="What was moved with it inside, or null.")


@router.get("/places", dependencies=SIGNED_IN, responses=TOLD)
def list_places(
    request: Request, response: Response, caller: CallerDep, query: Annotated[PlaceQuery, Query()]
) -> PageOut[PlaceRowOut]:
    """Places (volunteers), each followed by what stands in it, a page at a time."""
    with caller.reading() as work:
        return page_out(request, response, place_records.page(work, query), PlaceRowOut)


@router.post("/places", status_code=HTTPStatus.CREATED, dependencies=SIGNED_IN, responses=CREATING)
def create_place(
    request: Request, response: Response, caller: CallerDep, new: NewPlace
) -> PlaceOut:
    """Enter a place (volunteers)."""
    with caller.work() as work:
        place = PlaceOut.model_validate(places.create(work, new))
    response.headers["Location"] = address(request, "get_place", place_id=place.id)
    return marked(response, place)


@router.get("/places/{place_id}", dependencies=SIGNED_IN, responses=READING | TOLD)
def get_place(place_id: PlaceId, response: Response, caller: CallerDep) -> PlaceOut:
    """A place, and what stands in it (volunteers)."""
    with caller.reading() as work:
        return marked(response, PlaceOut.model_validate(place_records.get(work, place_id)))


@router.patch(
    "/places/{place_id}", dependencies=SIGNED_IN, openapi_extra=IF_MATCH, responses=CHANGING
)
def change_place(
    place_id: PlaceId,
    response: Response,
    caller: CallerDep,
    revision: RevisionDep,
    change: PlaceChange,
) -> PlaceOut:
    """Change what is given of a place (volunteers; its name, archivists)."""
    with caller.work() as work:
        changed = places.change(work, place_id, change, revision)
        return marked(response, PlaceOut.model_validate(changed))


@router.get("/places/{place_id}/tapes", dependencies=SIGNED_IN, responses=TOLD)
def list_tapes_in_place(
    place_id: PlaceId,
    request: Request,
    response: Response,
    caller: CallerDep,
    query: Annotated[PageQuery, Query()],
) -> PageOut[LyingOut]:
    """The tapes in a place at any depth (volunteers), box after box, a page at a time."""
    with caller.reading() as work:
        return page_out(request, response, lying.within_place(work, place_id, query), LyingOut)


@router.post("/places/{place_id}/move", dependencies=SIGNED_IN, responses=MOVED)
def move_place(
    place_id: PlaceId, response: Response, caller: CallerDep, move: PlaceMove
) -> PlaceOut:
    """Put a place elsewhere with all that is in it (volunteers): a movement for each tape."""
    with caller.work() as work:
        return marked(response, PlaceOut.model_validate(movements.move_place(work, place_id, move)))


@router.post("/places/{place_id}/close", dependencies=SIGNED_IN, responses=MOVED)
def close_place(place_id: PlaceId, response: Response, caller: CallerDep) -> PlaceOut:
    """Take a place out of use in which nothing is left (archivists)."""
    with caller.work() as work:
        return marked(response, PlaceOut.model_validate(places.close(work, place_id)))


@router.post("/places/{place_id}/reopen", dependencies=SIGNED_IN, responses=MOVED)
def reopen_place(place_id: PlaceId, response: Response, caller: CallerDep) -> PlaceOut:
    """Take a closed place into use again (archivists)."""
    with caller.work() as work:
        return marked(response, PlaceOut.model_validate(places.reopen(work, place_id)))


@router.get("/tapes/{number}/whereabouts", dependencies=SIGNED_IN, responses=TOLD)
def get_whereabouts(
    number: Annotated[str, Path(description="Accession number of the tape, such as 1978.12.")],
    caller: CallerDep,
) -> WhereaboutsOut:
    """Where a tape is, and where it belongs (volunteers)."""
    with caller.reading() as work:
        caller.require(Role.VOLUNTEER)
        return WhereaboutsOut.model_validate(movements.of(work, number))


@router.get("/movements", dependencies=SIGNED_IN, responses=TOLD)
def list_movements(
    request: Request,
    response: Response,
    caller: CallerDep,
    query: Annotated[MovementQuery, Query()],
) -> PageOut[MovementOut]:
    """Movements, newest first (volunteers): of one tape, of one place, or all."""
    with caller.reading() as work:
        return page_out(request, response, movements.page(work, query), MovementOut)


@router.post(
    "/movements", status_code=HTTPStatus.NO_CONTENT, dependencies=SIGNED_IN, responses=MOVED
)
def move_tapes(caller: CallerDep, move: Move) -> None:
    """Put tapes into a place, which is named by number or as it is written (volunteers).

    All of them are moved, or none.
    """
    with caller.work() as work:
        movements.put(work, move)


@router.post(
    "/movements/missing",
    status_code=HTTPStatus.NO_CONTENT,
    dependencies=SIGNED_IN,
    responses=MOVED,
)
def mark_missing(caller: CallerDep, missing: Missing) -> None:
    """Say of tapes that they were looked for and not found (volunteers)."""
    with caller.work() as work:
        movements.mark_missing(work, missing)
