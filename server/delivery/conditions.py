"""Conditional requests: RFC 9110, section 13. All our entity tags are strong."""

import re
from collections.abc import Mapping

from server.statuses import MALFORMED, REVISION_MISSING, Refused

_TAG = re.compile(r'[ \t]*((?:W/)?"[\x21\x23-\x7E\x80-\xFF]*")[ \t]*')


def tag(value: str) -> str:
    """The strong entity tag for `value`."""
    return f'"{value}"'


def tags(value: str, *, field: str) -> list[str]:
    """The entity tags that a header lists.

    Raises:
        Refused: they are not entity tags.
    """
    found, at = [], 0
    while match := _TAG.match(value, at):
        found.append(match[1])
        at = match.end() + 1
        if value[match.end() : at] != ",":
            break
    if at <= len(value):
        raise Refused(
            MALFORMED,
            f"The header {field} is not a list of entity tags.",
            where=field,
            mend='Send the ETag as it was received, with its quotes: "…".',
        )
    return found


def not_modified(headers: Mapping[str, str], current: str) -> bool:
    """Whether If-None-Match names the `current` tag: weak comparison, section 13.1.2."""
    value = headers.get("If-None-Match")
    if value is None:
        return False
    return value.strip() == "*" or current in (
        each.removeprefix("W/") for each in tags(value, field="If-None-Match")
    )


def range_still_applies(headers: Mapping[str, str], current: str) -> bool:
    """Whether If-Range allows a part: the strong tag only, for we give no dates (13.1.5)."""
    return headers.get("If-Range", current).strip() == current


def revision(headers: Mapping[str, str]) -> int | None:
    """The revision that a change is made against; None for `*`, whichever is current.

    Raises:
        Refused: there is no If-Match (428, RFC 6585), or it is not one of our tags.
    """
    value = headers.get("If-Match")
    if value is None:
        raise Refused(
            REVISION_MISSING,
            "The change does not say which revision it is made against.",
            where="If-Match",
            mend="Get the record, and send its ETag as If-Match; * means whichever is current.",
        )
    if value.strip() == "*":
        return None
    found = tags(value, field="If-Match")
    numbers = [int(each[1:-1]) for each in found if each[1:-1].isdecimal()]
    # A tag that was never ours cannot be current; no record has a revision 0.
    return numbers[0] if len(found) == 1 and numbers else 0
