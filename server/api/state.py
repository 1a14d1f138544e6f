"""The state of the library: what share of it is read, verified, described, in danger; its work."""

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field

from server.api.caller import CallerDep
from server.api.problems import responses
from server.catalog import state
from server.inspection import Fields

router = APIRouter(prefix="/state", tags=["state"])


class ShareOut(Fields):
    """How many of the tapes something is true of."""

    name: str = Field(description="read, verified, described, looked-at or in-danger.")
    meaning: str = Field(description="What is true of them.")
    count: int = Field(description="Of how many tapes.")
    of: int = Field(description="Among how many.")


class SeriesOut(Fields):
    """One kind of work."""

    name: str = Field(description="entered, readings, vouched, reports or punchings.")
    meaning: str = Field(description="What is counted.")
    months: list[int] = Field(description="How much in each month, from January to December.")
    total: int = Field(description="How much in the whole year.")


class StateOut(Fields):
    """The library as it stands, and the work of one year."""

    tapes: int = Field(description="Tapes in the collection, without those that have left it.")
    shares: list[ShareOut] = Field(description="What is true of how many of them.")
    unread_in_danger: int = Field(description="Tapes in danger of which no image is held.")
    year: int = Field(description="The year that `work` tells of.")
    first: int = Field(description="The year of the oldest work with a day.")
    last: int = Field(description="The year of the newest.")
    work: list[SeriesOut] = Field(description="What was done in the year.")


@router.get("", responses=responses("invalid"))
def get_state(
    caller: CallerDep,
    year: Annotated[
        int | None,
        Query(ge=1, le=9999, description="Whose work to tell; the newest year, if left out."),
    ] = None,
) -> StateOut:
    """What share of the library is read, verified, described and in danger, and a year's work."""
    with caller.reading() as work:
        return StateOut.model_validate(state.of(work, year))
