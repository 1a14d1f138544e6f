"""Where one part of what a search found ends, so that the next can begin there."""

import binascii
from base64 import urlsafe_b64decode, urlsafe_b64encode
from typing import Final, NamedTuple

from server.catalog.errors import Invalid
from server.catalog.search_values import SearchQuery

LISTING_RANK: Final = 100
"""Listings come after all fields of records."""

_LARGEST = 2**31


class Place(NamedTuple):
    """What was found last: a record by the rank of its field, or a listing, and its id."""

    rank: int
    id: int


def write_cursor(query: SearchQuery, place: Place) -> str:
    """The place as a word for the query's next part."""
    word = f"{place.rank}.{place.id}.{_mark(query):08x}"
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
        rank, number, mark = urlsafe_b64decode(padded.encode("ascii")).decode("ascii").split(".")
        place = Place(int(rank), int(number))
        known = int(mark, 16) == _mark(query) and 0 <= place.rank <= LISTING_RANK
    except ValueError:  # which the errors of base64, of ASCII and of split all are
        known, place = False, Place(0, 0)
    if not known or not 0 < place.id < _LARGEST:
        raise Invalid(
            "The cursor does not belong to this search.",
            where="cursor",
            mend="Search again without a cursor.",
            fields={"cursor": "not a cursor that this search gave"},
        )
    return place


def _mark(query: SearchQuery) -> int:
    """A number that tells this query from others, whatever its page."""
    return binascii.crc32(query.model_dump_json(exclude={"cursor", "limit"}).encode())
