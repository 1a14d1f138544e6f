"""What may be done with several entries of a queue at once: an entry here for each action."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from server.catalog import own_list, tapes
from server.catalog.errors import ArchiveError, Invalid, NotFound
from server.catalog.queues import Queue
from server.catalog.tape_values import TapeChange
from server.catalog.vocabulary import Condition
from server.catalog.work import Role, Work

MOST: Final = 200
"""Entries at once: as many as a page of a list may have."""


@dataclass(frozen=True, slots=True)
class Doing:
    """What an action is given for each entry; `value` is what was written in its field."""

    queue: Queue
    value: str
    report_years: int


@dataclass(frozen=True, slots=True)
class Action:
    """A bulk action: what its button says, what it did, and the field that it needs, if any.

    `act` does it to one entry, named by its key. One that is `everywhere` fits every queue.
    """

    name: str
    words: str
    done: str
    act: Callable[[Work, str, Doing], object]
    field: str = ""
    everywhere: bool = False


@dataclass(frozen=True, slots=True)
class Refusal:
    """An entry that an action did not touch, and why."""

    key: str
    why: str


@dataclass(frozen=True, slots=True)
class Summary:
    """What became of a bulk action."""

    action: Action
    done: tuple[str, ...]
    refused: tuple[Refusal, ...]


def _put_on(work: Work, key: str, doing: Doing) -> None:
    own_list.put_on(work, doing.queue, key, doing.report_years)


def _take_off(work: Work, key: str, doing: Doing) -> None:
    own_list.take_off(work, doing.queue, key)


def _set_place(work: Work, key: str, doing: Doing) -> None:
    tapes.change(work, key, TapeChange.of({"place": doing.value}))


def _set_not_examined(work: Work, key: str, doing: Doing) -> None:
    del doing
    tapes.change(work, key, TapeChange(condition=Condition.NOT_EXAMINED))


ACTIONS: Final[Mapping[str, Action]] = MappingProxyType(
    {
        action.name: action
        for action in (
            Action("put-on", "Put on my list", "put on your list", _put_on, everywhere=True),
            Action("take-off", "Take off my list", "taken off your list", _take_off,
                   everywhere=True),
            Action("place", "Set the place", "put to the new place", _set_place, field="place"),
            Action("not-examined", "Set to “not examined”", "set to “not examined”",
                   _set_not_examined),
        )
    }
)  # fmt: skip


def fitting(queue: Queue) -> tuple[Action, ...]:
    """The actions that fit a queue."""
    return tuple(
        action for action in ACTIONS.values() if action.everywhere or action.name in queue.actions
    )


def carry_out(work: Work, name: str, keys: Collection[str], doing: Doing) -> Summary:
    """Do it to each of the entries that can take it; those that cannot are told with the reason.

    Raises:
        NotFound: there is no such action for this queue.
        Invalid: no entry is given, or too many, or the field is empty that the action needs.
    """
    work.actor.require(Role.VOLUNTEER)
    action = next((each for each in fitting(doing.queue) if each.name == name), None)
    if action is None:
        raise NotFound(
            f"There is no action {name[:40]} in the queue {doing.queue.name}.",
            where=name[:40],
            mend="Choose one that the page of the queue offers.",
        )
    entries = chosen(keys)
    if action.field and not doing.value.strip():
        raise Invalid(
            f"The {action.field} is not given.",
            where=action.field,
            mend=f"Write the {action.field}, and send it again.",
            fields={action.field: "this is needed"},
        )
    done, refused = [], []
    for key in entries:
        try:
            with work.session.begin_nested():
                action.act(work, key, doing)
            done.append(key)
        except ArchiveError as refusal:
            refused.append(Refusal(key, f"{refusal.what} {refusal.mend}"))
    return Summary(action, tuple(done), tuple(refused))


def chosen(keys: Collection[str]) -> tuple[str, ...]:
    """The entries that were ticked, each once.

    Raises:
        Invalid: none was, or more than `MOST`.
    """
    entries = tuple(dict.fromkeys(keys))
    if not 0 < len(entries) <= MOST:
        raise Invalid(
            "Nothing is ticked." if not entries else f"{len(entries):,} entries are ticked.",
            where="tick",
            mend=f"Tick from 1 to {MOST} entries first.",
            fields={"tick": f"from 1 to {MOST} entries"},
        )
    return entries
