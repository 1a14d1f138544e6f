"""Entries of queues as rows of a page: where each leads, and how it is called."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from server.catalog.held import SHORT_DIGEST
from server.catalog.queues.values import Entry


@dataclass(frozen=True, slots=True)
class Row:
    """An entry with the path of its own page, and the short name that stands first in its row."""

    entry: Entry
    name: str
    address: str


def rows_of(entries: Iterable[Entry]) -> tuple[Row, ...]:
    """The entries as rows."""
    return tuple(_row(entry) for entry in entries)


def _row(entry: Entry) -> Row:
    if entry.request is not None:
        return Row(entry, entry.tape or f"request {entry.request}", f"/requests/{entry.request}")
    name = entry.tape or (entry.image or "")[:SHORT_DIGEST]
    return Row(entry, name, _ADDRESSES[len(entry.ids), entry.image == entry.key](entry))


_ADDRESSES: Final[Mapping[tuple[int, bool], Callable[[Entry], str]]] = MappingProxyType(
    {
        (1, False): lambda entry: f"/tapes/{entry.tape}",
        (1, True): lambda entry: f"/images/{entry.image}",
        (2, False): lambda entry: f"/images/{entry.image}/compare/{entry.other}",
    }
)
"""By how many things an entry is of, and whether it goes by the name of an image."""
