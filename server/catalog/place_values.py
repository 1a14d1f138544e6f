"""What is given and said about places, and about where a tape is."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Annotated, Final

from pydantic import AfterValidator, BeforeValidator, Field

from server.catalog.inputs import NAME_LENGTH, Input, Name, OrNone, RequiredName, Text
from server.catalog.tape_values import PageQuery, RecordNumber, several
from server.store.places import APART

LONGEST_PATH: Final = NAME_LENGTH
"""A written path is shown wherever a tape is: no longer than any other name."""


class PlaceKind(StrEnum):
    """What a place is."""

    ROOM = "room"
    CUPBOARD = "cupboard"
    SHELF = "shelf"
    DRAWER = "drawer"
    BOX = "box"
    TABLE = "table"
    OTHER = "other"


class State(StrEnum):
    """What is known of where a tape is."""

    PLACED = "placed"
    """In a place of ours."""
    UNKNOWN = "unknown"
    """Nobody has said yet."""
    MISSING = "missing"
    """Looked for where it should be, and not found."""
    ON_LOAN = "on loan"
    """With somebody who borrowed it."""


RESERVED: Final = (State.MISSING, State.ON_LOAN)
"""What is written instead of a place where a tape is in none; no place is called so."""


def _is_place_name(name: str) -> str:
    if "," in name:
        raise ValueError("leave the comma out: it stands between a place and what is in it")
    plain = " ".join(name.split())
    if plain.lower() in RESERVED:
        raise ValueError("this word says that a tape is in no place: choose another")
    return plain


PlaceName = Annotated[RequiredName, AfterValidator(_is_place_name)]


class NewPlace(Input):
    """A place to be entered, in the place `parent` or by itself."""

    name: PlaceName
    kind: PlaceKind
    parent: Annotated[RecordNumber | None, OrNone] = None
    note: Text = ""


class PlaceChange(Input):
    """What to change of a place: only what is given."""

    name: PlaceName | None = None
    kind: PlaceKind | None = None
    note: Text = ""


class PlaceMove(Input):
    """Where to put a place with all that is in it; without `parent` it stands by itself."""

    parent: Annotated[RecordNumber | None, OrNone] = None
    why: Text = ""


Numbers = Annotated[tuple[Name, ...], BeforeValidator(several), Field(min_length=1, max_length=200)]


class Move(Input):
    """Tapes to be put into a place, which is named by its number or as it is written.

    With `usual` the place becomes the one where they belong.
    """

    tapes: Numbers
    place: Annotated[RecordNumber | None, OrNone] = None
    written: Name = ""
    why: Text = ""
    usual: bool = False


class Missing(Input):
    """Tapes that were looked for and not found."""

    tapes: Numbers
    why: Text = ""


class PlaceQuery(PageQuery):
    """Which places: those that hold words in their paths, and perhaps those that are closed."""

    q: Name = ""
    closed: bool = False


class MovementQuery(PageQuery):
    """Which movements: of one tape, or from and to one place and what is in it, or all."""

    tape: Name = ""
    place: Annotated[RecordNumber | None, OrNone] = None


def lies_in(path: str, other: str) -> bool:
    """Whether a path is the `other`, or of something within it."""
    return path == other or path.startswith(f"{other}{APART}")


@dataclass(frozen=True, slots=True)
class PlaceLink:
    """A place, for a link to it."""

    id: int
    name: str
    path: str


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """A place in the tree: `depth` from 0, tapes `here` and in all that it holds (`within`)."""

    id: int
    parent: int | None
    kind: PlaceKind
    name: str
    path: str
    note: str
    depth: int
    here: int
    within: int
    closed: bool


@dataclass(frozen=True, slots=True)
class PlaceRecord:
    """A place: what it stands `on` from the outermost in, and the places in it."""

    id: int
    kind: PlaceKind
    name: str
    path: str
    note: str
    on: tuple[PlaceLink, ...]
    inside: tuple[PlaceRow, ...]
    here: int
    within: int
    closed: datetime | None
    revision: int


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a tape is and where it belongs; `written` is the first as lists tell it."""

    state: State
    place: PlaceLink | None
    usual: PlaceLink | None
    written: str

    @property
    def is_away(self) -> bool:
        """Whether it is not where it belongs, nor in anything that stands there."""
        if self.usual is None:
            return False
        return self.place is None or not lies_in(self.place.path, self.usual.path)


@dataclass(frozen=True, slots=True)
class MovementRecord:
    """One move of a tape, as it was called then; `with_place` was moved with all that it held."""

    id: int
    tape: str
    tape_title: str
    at: datetime
    by: str
    why: str
    from_where: str
    from_place: int | None
    to_where: str
    to_place: int | None
    with_place: PlaceLink | None
