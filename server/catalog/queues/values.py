"""What is said of queues and of what they hold."""

from dataclasses import dataclass
from datetime import date
from typing import Final, TypeAlias

from server.catalog.queues.queue import About, Asked, Place, Queue
from server.catalog.records import VerifiedBy
from server.catalog.vocabulary import Condition
from server.catalog.work import Role
from server.tape.findings import CheckStatus

CAP: Final = 1000
"""Where there is more than this, a count says no more than that."""

Ids: TypeAlias = tuple[int, ...]
"""What an entry of a queue is: the id of a tape, of an image, of two, or of a request."""


@dataclass(frozen=True, slots=True)
class StepLink:
    """A step that settles an entry, and the path of the page where it is done."""

    words: str
    address: str
    role: Role


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing in a queue.

    `key` names it in addresses and forms: an accession number, a SHA-256, or two of those joined
    by a hyphen, or the number of a request. `image` is the newest of a tape; `detail` says how
    two images relate, or what else the queue has to tell.
    `mine` says whether it is on the list of whoever asks, `taken_by` who else has it on theirs.
    """

    ids: Ids
    key: str
    title: str
    format: str | None = None
    detail: str = ""
    tape: str | None = None
    image: str | None = None
    other: str | None = None
    other_title: str = ""
    other_tape: str | None = None
    place: str = ""
    check_status: CheckStatus | None = None
    verification: VerifiedBy | None = None
    condition: Condition | None = None
    quarantined: bool = False
    do_not_run: bool = False
    last_report: date | None = None
    request: int | None = None
    steps: tuple[StepLink, ...] = ()
    mine: bool = False
    taken_by: tuple[str, ...] = ()

    @property
    def at(self) -> Place:
        """What steps may depend on."""
        return Place(
            self.tape, self.image, self.other, self.quarantined, self.do_not_run, self.request
        )


@dataclass(frozen=True, slots=True)
class Told:
    """A queue in words, and how much it holds: `count`, or at least that where there is `more`."""

    name: str
    title: str
    meaning: str
    todo: str
    well_done: str
    role: Role
    about: About
    actions: tuple[str, ...]
    count: int
    more: bool

    @classmethod
    def of(cls, queue: Queue, asked: Asked, count: int) -> "Told":
        """What is told of a queue; a count above `CAP` is cut there."""
        years = asked.years
        return cls(
            name=queue.name,
            title=queue.title.format(years=years),
            meaning=queue.meaning.format(years=years),
            todo=queue.todo.format(years=years),
            well_done=queue.well_done.format(years=years),
            role=queue.role,
            about=queue.about,
            actions=queue.actions,
            count=min(count, CAP),
            more=count > CAP,
        )

    @property
    def shown(self) -> str:
        """The count as people read it: 12, 1,000+."""
        return f"{self.count:,}{'+' if self.more else ''}"
