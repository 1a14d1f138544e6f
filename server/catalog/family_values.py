"""What is said about a family, and what archivists may decide about one."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from server.catalog.inputs import Input, Sha256, Text
from server.catalog.records import KinRecord


class Decided(StrEnum):
    """What somebody decided about two images."""

    TOGETHER = "together"
    """They belong to one family, whether or not they are alike."""
    APART = "apart"
    """They do not, however alike they are."""
    MADE_FROM = "made-from"
    """The one was made from the other: somebody knows."""
    UNDECIDED = "undecided"
    """Nothing is decided any more; the distances tell."""


class NewDecision(Input):
    """A decision on an image and another one.

    With `apart` or `undecided`, `other` may be left out: then it is on all of its family.
    """

    kind: Decided
    other: Sha256 | None = None
    note: Text = ""


@dataclass(frozen=True, slots=True)
class DecisionRecord:
    """A decision that counts: on whom besides, by whom and when."""

    kind: Decided
    sha256: str
    other: str
    by: str
    at: datetime
    note: str


@dataclass(frozen=True, slots=True)
class Member:
    """A member of a family and those that hang on it, the closest first.

    `label` is that of the version whose master it is; `made` what is known of its tape's date;
    `kin` how it relates to the one it hangs on, None at the root; `near` is false where it hangs
    there for want of anything near; `decision` is what somebody decided about the two.
    """

    sha256: str
    title: str
    accession: str | None
    label: str | None
    made: str | None
    kin: KinRecord | None
    near: bool
    decision: DecisionRecord | None
    do_not_run: bool = False
    members: tuple["Member", ...] = ()

    @property
    def made_from(self) -> bool:
        """Whether somebody recorded that it was made from the one it hangs on."""
        return self.decision is not None and self.decision.kind is Decided.MADE_FROM


@dataclass(frozen=True, slots=True)
class TakenOut:
    """An image that is akin to a member, but was decided not to belong to the family."""

    sha256: str
    title: str
    accession: str | None
    decision: DecisionRecord


@dataclass(frozen=True, slots=True)
class Family:
    """All versions of a program and what resembles them, or an image and its kin, as a tree.

    `why_root` says in a sentence why the root is where the tree begins; `more` counts kin beyond
    the greatest number of members that is laid out.
    """

    program: int | None
    title: str
    size: int
    root: Member | None
    why_root: str
    taken_out: tuple[TakenOut, ...]
    more: int
