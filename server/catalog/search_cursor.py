"""Where one part of what a search found ends, so that the next can begin there."""

import binascii
from base64 import urlsafe_b64decode, urlsafe_b64encode
from enum import IntEnum
from typing import NamedTuple

from server.catalog.errors import Invalid
from server.catalog.search_values import SearchQuery

_LARGEST = 2**31


class Stage(IntEnum):
    """The kinds of places, in the order in which they are told."""

    DIGEST = 0
    """Images whose name begins with the run."""
    NAME = 1
    """Records of exactly that number or title."""
    RECORD = 2
    """Records that hold it, by the field that does."""
    WORD = 3
    """Of the newest listings that hold it, those in which it stands as a word."""
    PART = 4
    """The others of these."""
    OLDER = 5
    """All older listings that hold it."""


class Place(NamedTuple):
    """What was found last: its stage, its key there, and the newest image when that began.

    Images that come in while somebody turns the pages then move nothing.
    """

    stage: Stage
    key: int
    newest: int


def write_cursor(query: SearchQuery, place: Place) -> str:
    """The place as a word for the query's next part."""
    word = f"{place.stage:d}.{place.key}.{place.newest}.{_mark(query):08x}"
    return urlsafe_b64encode(word.encode()).decode().rstrip("=")


def read_cursor(query: SearchQuery) -> Place | None:
    """The place after which the query goes on; None where it starts.

    Raises:
        Invalid: the cursor was not given by this same query.
    """
    if query.cursor is None:
        return None
    try:
        padded = query.cursor + "=" * (-len(query.cursor) % 4)
        word = urlsafe_b64decode(padded.encode("ascii")).decode("ascii")
        stage, key, newest, mark = word.split(".")
        place = Place(Stage(int(stage)), int(key), int(newest))
        known = int(mark, 16) == _mark(query)
    except ValueError:  # which the errors of base64, of ASCII, of split and of Stage all are
        known, place = False, Place(Stage.DIGEST, 0, 0)
    if not known or not 0 < place.key < _LARGEST or not 0 <= place.newest < _LARGEST:
        raise Invalid(
            "The cursor does not belong to this search.",
            where="cursor",
            mend="Search again without a cursor.",
            fields={"cursor": "not a cursor that this search gave"},
        )
    return place


def _mark(query: SearchQuery) -> int:
    """A number that tells this query from others, whatever its page."""
    told = query.model_dump_json(exclude={"cursor", "limit", "facets"})
    return binascii.crc32(told.encode())
