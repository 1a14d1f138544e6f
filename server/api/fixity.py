"""Fixity: which images fail, and what the last audits found."""

from datetime import datetime
from typing import Self

from fastapi import APIRouter
from pydantic import Field

from server.api.caller import CallerDep
from server.api.models import FixityFailureOut
from server.api.problems import responses
from server.catalog import fixity
from server.catalog.work import Work
from server.inspection import Fields

router = APIRouter(prefix="/fixity", tags=["fixity"])

TOLD = 20
"""Audits in an answer."""


class AuditOut(Fields):
    """A fixity audit that came to its end."""

    started: datetime = Field(description="When it began, in UTC.")
    ended: datetime = Field(description="When it ended, in UTC.")
    by: str = Field(description="Who started it; `schedule` where it began by itself.")
    images: int = Field(description="Images hashed again.")
    failing: int = Field(description="Images whose frames were not those of their names.")
    mended: int = Field(description="How many of these were put back in its course.")


class FailingOut(Fields):
    """An image whose held frames are not those of its name."""

    title: str = Field(description="Best name there is: of the tape, the program or the file.")
    failure: FixityFailureOut = Field(description="What was found, since when, and what to do.")


class FixityOut(Fields):
    """How the library stands."""

    audits: list[AuditOut] = Field(description="The last audits, the newest first.")
    failing: list[FailingOut] = Field(description="Images that fail now, the longest known first.")

    @classmethod
    def of(cls, work: Work) -> Self:
        """The shape of what is known now."""
        return cls(
            audits=[AuditOut.model_validate(each) for each in fixity.audits(work, TOLD)],
            failing=[FailingOut.model_validate(each) for each in fixity.failing_images(work)],
        )


@router.get("", responses=responses())
def get_fixity(caller: CallerDep) -> FixityOut:
    """Which images fail the fixity check now, and what the last audits found."""
    with caller.reading() as work:
        return FixityOut.of(work)
