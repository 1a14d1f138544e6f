"""What a token may be used for: never for more than its person may do, and often for less.

Scopes are names apart by spaces, as RFC 6749, section 3.3, writes them.
"""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from server.catalog.errors import Invalid


class Scope(StrEnum):
    """One thing that a token may be used for."""

    READ = "read"
    UPLOAD = "upload"
    DESCRIBE = "describe"
    KEEP = "keep"
    PUNCH = "punch"
    WORK = "work"
    ACCOUNT = "account"
    PEOPLE = "people"


MEANINGS: Final[Mapping[Scope, str]] = MappingProxyType(
    {
        Scope.READ: "read, search and download all that you may",
        Scope.UPLOAD: "upload what was read from tapes",
        Scope.DESCRIBE: "describe tapes, report their condition, write load sheets, keep your list",
        Scope.KEEP: "keep programs and versions, vouch, merge, decide on kin, and all that is new",
        Scope.PUNCH: "prepare punchings, move them on and read them back",
        Scope.WORK: "start and stop passes over the whole library",
        Scope.ACCOUNT: "change your own account: tokens, sign-ins, whether you are named",
        Scope.PEOPLE: "invite people, set their roles, let them in and shut them out",
    }
)

ALL: Final = frozenset(Scope)
USUAL: Final = frozenset({Scope.READ, Scope.UPLOAD, Scope.DESCRIBE})
"""What a person is offered first."""


def of_words(words: Iterable[str]) -> frozenset[Scope]:
    """The scopes of those names.

    Raises:
        Invalid: there is no such scope, or none was named.
    """
    given = [word for word in words if word]
    try:
        found = frozenset(Scope(word) for word in given)
    except ValueError:
        found = frozenset()
    if not found:
        sentence = f"choose at least one of {', '.join(Scope)}"
        raise Invalid(
            "That is nothing that a token could be used for.",
            where="scopes",
            mend=sentence,
            fields={"scopes": sentence},
        )
    return found


def in_order(scopes: Iterable[Scope]) -> tuple[Scope, ...]:
    """The scopes in the order in which they are told."""
    held = frozenset(scopes)
    return tuple(scope for scope in Scope if scope in held)
