"""Background work on the whole library."""

from datetime import datetime
from http import HTTPStatus
from typing import Self

from fastapi import APIRouter, Request
from pydantic import Field

from server.api.caller import SIGNED_IN, CallerDep
from server.api.problems import responses
from server.inspection import Fields
from server.jobs import access
from server.jobs.background import Background
from server.jobs.state import PassState, Standing

router = APIRouter(prefix="/work", tags=["work"])


class PassOut(Fields):
    """How the newest pass that finds kin in everything stands."""

    standing: Standing = Field(description="`waiting`, `running`, `done`, `stopped` or `failed`.")
    by: str = Field(description="Who started it.")
    started: datetime = Field(description="When, in UTC.")
    ended: datetime | None = Field(description="When it was over, in UTC, or null.")
    done: int = Field(description="Looks taken so far; each image is looked at in three rounds.")
    of: int = Field(description="Looks to take in all; 0 before it has begun.")
    images: int | None = Field(description="Once it is done: images looked at.")
    pairs: int | None = Field(description="Once it is done: pairs of kin recorded.")
    fault: str = Field(description="Why it failed, or nothing.")

    @classmethod
    def told(cls, state: PassState) -> Self:
        """The shape of a state."""
        result = state.result or {}
        return cls(
            standing=state.standing,
            by=state.by,
            started=state.started,
            ended=state.ended,
            done=state.progress.done,
            of=state.progress.of,
            images=result.get("images"),
            pairs=result.get("pairs"),
            fault=state.fault,
        )


def _background(request: Request) -> Background | None:
    found: Background | None = request.app.state.background
    return found


def _told(state: PassState | None) -> PassOut | None:
    return None if state is None else PassOut.told(state)


@router.get(
    "/kin-pass", dependencies=SIGNED_IN, responses=responses("not-signed-in", "not-allowed")
)
def get_kin_pass(request: Request, caller: CallerDep) -> PassOut | None:
    """How the newest pass stands (archivists); null where there never was one."""
    return _told(access.last_pass(_background(request), caller.actor))


@router.post(
    "/kin-pass",
    status_code=HTTPStatus.ACCEPTED,
    dependencies=SIGNED_IN,
    responses=responses("not-signed-in", "not-allowed", "conflict"),
)
def start_kin_pass(request: Request, caller: CallerDep) -> PassOut:
    """Find kin in everything (archivists): start a pass, or join the one that is not done."""
    return PassOut.told(access.find_kin(_background(request), caller.actor))


@router.delete(
    "/kin-pass",
    dependencies=SIGNED_IN,
    responses=responses("not-signed-in", "not-allowed", "conflict"),
)
def stop_kin_pass(request: Request, caller: CallerDep) -> PassOut | None:
    """Stop the pass that is not done (archivists); what it found stays."""
    return _told(access.stop_pass(_background(request), caller.actor))
