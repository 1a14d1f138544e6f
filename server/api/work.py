"""Background work on the whole library, and what fixity audits found."""

from datetime import datetime
from http import HTTPStatus
from typing import Any, Self

from fastapi import APIRouter, Request
from pydantic import Field

from server.api.caller import SIGNED_IN, CallerDep
from server.api.problems import responses
from server.inspection import Fields
from server.jobs import access
from server.jobs.background import Background
from server.jobs.state import Pass, PassState, Standing

router = APIRouter(prefix="/work", tags=["work"])


class PassOut(Fields):
    """How the newest pass of its kind over the whole library stands."""

    standing: Standing = Field(description="`waiting`, `running`, `done`, `stopped` or `failed`.")
    by: str = Field(description="Who started it; `schedule` where it began by itself.")
    started: datetime = Field(description="When, in UTC.")
    ended: datetime | None = Field(description="When it was over, in UTC, or null.")
    done: int = Field(description="Looks taken so far; a pass may look at each image repeatedly.")
    of: int = Field(description="Looks to take in all; 0 before it has begun.")
    images: int | None = Field(description="Once it is done: images looked at.")
    fault: str = Field(description="Why it failed, or nothing.")

    @classmethod
    def told(cls, state: PassState) -> Self:
        """The shape of a state."""
        results = dict.fromkeys(cls.model_fields.keys() - PassOut.model_fields.keys())
        told: dict[str, Any] = {"images": None, **results, **(state.result or {})}
        return cls(
            standing=state.standing,
            by=state.by,
            started=state.started,
            ended=state.ended,
            done=state.progress.done,
            of=state.progress.of,
            fault=state.fault,
            **told,
        )


class KinPassOut(PassOut):
    """How the newest pass that finds kin in everything stands; it takes three rounds."""

    pairs: int | None = Field(description="Once it is done: pairs of kin recorded.")


class FixityAuditOut(PassOut):
    """How the newest fixity audit stands."""

    failing: int | None = Field(
        description="Once it is done: images whose frames were not those of their names."
    )
    mended: int | None = Field(description="Once it is done: how many of these were put back.")


def _background(request: Request) -> Background | None:
    found: Background | None = request.app.state.background
    return found


SEEN = responses("not-signed-in", "not-allowed")
CHANGED = responses("not-signed-in", "not-allowed", "conflict")


@router.get("/kin-pass", dependencies=SIGNED_IN, responses=SEEN)
def get_kin_pass(request: Request, caller: CallerDep) -> KinPassOut | None:
    """How the newest pass stands (archivists); null where there never was one."""
    state = access.last(_background(request), caller.actor, Pass.KIN)
    return None if state is None else KinPassOut.told(state)


@router.post(
    "/kin-pass", status_code=HTTPStatus.ACCEPTED, dependencies=SIGNED_IN, responses=CHANGED
)
def start_kin_pass(request: Request, caller: CallerDep) -> KinPassOut:
    """Find kin in everything (archivists): start a pass, or join the one that is not done."""
    return KinPassOut.told(access.start(_background(request), caller.actor, Pass.KIN))


@router.delete("/kin-pass", dependencies=SIGNED_IN, responses=CHANGED)
def stop_kin_pass(request: Request, caller: CallerDep) -> KinPassOut | None:
    """Stop the pass that is not done (archivists); what it found stays."""
    state = access.stop(_background(request), caller.actor, Pass.KIN)
    return None if state is None else KinPassOut.told(state)


@router.get("/fixity-audit", dependencies=SIGNED_IN, responses=SEEN)
def get_fixity_audit(request: Request, caller: CallerDep) -> FixityAuditOut | None:
    """How the newest audit stands (archivists); null where there never was one."""
    state = access.last(_background(request), caller.actor, Pass.FIXITY)
    return None if state is None else FixityAuditOut.told(state)


@router.post(
    "/fixity-audit", status_code=HTTPStatus.ACCEPTED, dependencies=SIGNED_IN, responses=CHANGED
)
def start_fixity_audit(request: Request, caller: CallerDep) -> FixityAuditOut:
    """Hash every image again (archivists): start an audit, or join the one that is not done."""
    return FixityAuditOut.told(access.start(_background(request), caller.actor, Pass.FIXITY))


@router.delete("/fixity-audit", dependencies=SIGNED_IN, responses=CHANGED)
def stop_fixity_audit(request: Request, caller: CallerDep) -> FixityAuditOut | None:
    """Stop the audit that is not done (archivists); what it found stays."""
    state = access.stop(_background(request), caller.actor, Pass.FIXITY)
    return None if state is None else FixityAuditOut.told(state)
