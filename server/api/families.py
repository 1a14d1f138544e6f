"""Families: versions and kin as a tree, and what archivists decide about them."""

from collections.abc import Iterator
from datetime import datetime
from http import HTTPStatus
from typing import Annotated, Self

from fastapi import APIRouter, Path
from pydantic import Field

from server.api.caller import SIGNED_IN, CallerDep
from server.api.images import Sha256
from server.api.models import KinOut
from server.api.problems import CHANGE, responses
from server.catalog import families
from server.catalog.family_values import Decided, Family, Member, NewDecision
from server.inspection import Fields

router = APIRouter(tags=["families"])


class DecisionOut(Fields):
    """What somebody decided about two images."""

    kind: Decided = Field(description="`together`, `apart` or `made-from`.")
    sha256: str = Field(description="The image that it is about.")
    other: str = Field(description="The other one; with `made-from`, what the first was made from.")
    by: str = Field(description="Who decided.")
    at: datetime = Field(description="When, in UTC.")
    note: str = Field(description="Why, or nothing.")


class MemberOut(Fields):
    """A member of a family; the root comes first, and each after the one that it hangs on."""

    sha256: str = Field(description="Name of the image.")
    title: str = Field(description="Best name there is for it.")
    accession: str | None = Field(description="Accession number of its first tape, or null.")
    label: str | None = Field(description="Label of the version whose master it is, or null.")
    made: str | None = Field(description="Earliest date said of its tapes (ISO 8601-2), or null.")
    closest: str | None = Field(
        description="The member that it hangs on; null at the root. That it came from there is "
        "said only by a decision `made-from`."
    )
    depth: int = Field(description="How many members lie between it and the root, plus one.")
    near: bool = Field(description="False where it hangs there only for want of anything near.")
    kin: KinOut | None = Field(description="How it relates to the one it hangs on.")
    decision: DecisionOut | None = Field(description="What was decided on the two, or null.")


class TakenOutOut(Fields):
    """An image that is akin, but was decided not to belong."""

    sha256: str = Field(description="Name of the image.")
    title: str = Field(description="Best name there is for it.")
    accession: str | None = Field(description="Accession number of its first tape, or null.")
    decision: DecisionOut = Field(description="The decision.")


class FamilyOut(Fields):
    """All versions of a program and what resembles them, or an image and its kin."""

    program: int | None = Field(description="Number of the program, or null.")
    title: str = Field(description="Title of the program, or best name of the image.")
    why_root: str = Field(description="Why the tree begins where it does; empty for one alone.")
    members: list[MemberOut] = Field(description="The tree, from its root.")
    taken_out: list[TakenOutOut] = Field(description="Kin that were decided not to belong.")
    more: int = Field(description="Kin beyond the greatest number that is laid out.")

    @classmethod
    def of(cls, family: Family) -> Self:
        """The shape of a family."""
        members = [] if family.root is None else list(_members(family.root))
        return cls(
            program=family.program,
            title=family.title,
            why_root=family.why_root,
            members=members,
            taken_out=[TakenOutOut.model_validate(each) for each in family.taken_out],
            more=family.more,
        )


def _members(member: Member, closest: str | None = None, depth: int = 0) -> Iterator[MemberOut]:
    yield MemberOut(
        sha256=member.sha256,
        title=member.title,
        accession=member.accession,
        label=member.label,
        made=member.made,
        closest=closest,
        depth=depth,
        near=member.near,
        kin=None if member.kin is None else KinOut.model_validate(member.kin),
        decision=None if member.decision is None else DecisionOut.model_validate(member.decision),
    )
    for each in member.members:
        yield from _members(each, member.sha256, depth + 1)


@router.get("/images/{sha256}/family", responses=responses("not-found"))
def get_family_of_image(sha256: Sha256, caller: CallerDep) -> FamilyOut:
    """The family that an image belongs to, laid out by least distance."""
    with caller.reading() as work:
        return FamilyOut.of(families.of_image(work, sha256))


@router.get("/programs/{program_id}/family", responses=responses("not-found"))
def get_family_of_program(
    program_id: Annotated[int, Path(description="Number of the program.")], caller: CallerDep
) -> FamilyOut:
    """The versions of a program and all that resembles them, laid out by least distance."""
    with caller.reading() as work:
        return FamilyOut.of(families.of_program(work, program_id))


@router.post(
    "/images/{sha256}/family/decisions",
    status_code=HTTPStatus.CREATED,
    dependencies=SIGNED_IN,
    responses=responses(*CHANGE, "not-found", "conflict"),
)
def decide_on_family(sha256: Sha256, caller: CallerDep, given: NewDecision) -> FamilyOut:
    """Decide whom an image belongs with, or from what it was made (archivists).

    The newest decision on two images counts, and outlives every decoding. Gives the family that
    the image now belongs to.
    """
    with caller.work() as work:
        return FamilyOut.of(families.decide(work, sha256, given))
