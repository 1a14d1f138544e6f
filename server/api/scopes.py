"""Which scope a token must have for a route: reading, or by what the route changes.

A route that is not told here needs the scope that reaches furthest over the collection.
"""

from collections.abc import Collection
from types import MappingProxyType
from typing import Final

from server.catalog.scopes import Scope
from server.statuses import INSUFFICIENT_SCOPE, Refused

_SAFE: Final = {"GET", "HEAD", "OPTIONS"}

OTHERWISE: Final = Scope.KEEP
"""What changes something in a way that nobody listed."""

_CHANGES: Final = MappingProxyType(
    {
        "/images": Scope.UPLOAD,
        "/images/{sha256}/sheet": Scope.DESCRIBE,
        "/images/{sha256}": Scope.KEEP,
        "/tapes": Scope.DESCRIBE,
        "/tapes/{number}/release": Scope.KEEP,
        "/programs": Scope.KEEP,
        "/programs/{program_id}/versions/{version_id}/sheet": Scope.DESCRIBE,
        "/merged-readings": Scope.KEEP,
        "/condition-reports": Scope.DESCRIBE,
        "/queues": Scope.DESCRIBE,
        "/punchings": Scope.PUNCH,
        "/work": Scope.WORK,
        "/tokens": Scope.ACCOUNT,
        "/sign-ins": Scope.ACCOUNT,
        "/me": Scope.ACCOUNT,
        "/people": Scope.PEOPLE,
        "/invitations": Scope.PEOPLE,
        # These change nothing: what is asked for is only too long for an address.
        "/search": Scope.READ,
        "/estimates": Scope.READ,
    }
)
"""By the beginning of a route's path; the longest that fits counts."""


def scope_of(method: str, path: str) -> Scope:
    """The scope that a token must have for the route of that `path`."""
    if method in _SAFE:
        return Scope.READ
    parts = path.split("/")
    for end in range(len(parts), 0, -1):
        beginning = "/".join(parts[:end])
        if beginning in _CHANGES:
            return _CHANGES[beginning]
    return OTHERWISE


def require_scope(held: Collection[Scope], needed: Scope) -> None:
    """Nothing, if a token of the scopes `held` may be used for what is `needed`.

    Raises:
        Refused: it may not (RFC 6750, section 3.1).
    """
    if needed in held:
        return
    challenge = f'Bearer realm="archive", error="insufficient_scope", scope="{needed}"'
    raise Refused(
        INSUFFICIENT_SCOPE,
        f"This token may not be used for that: it lacks the scope {needed}.",
        where="Authorization",
        mend=f"Issue a token that has the scope {needed} too.",
        headers={"WWW-Authenticate": challenge},
    )
