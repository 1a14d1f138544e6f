"""Reading the body of a request: no more of it than is allowed, and hashed on the way."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Final

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

JSON_LIMIT: Final = 1_000_000
"""Bytes of a JSON body; the longest record takes a tenth of it."""

FORM_OVERHEAD: Final = 64 * 1024
"""Bytes of a form beside the file in it: boundaries, part headers and the other fields."""


class BodyTooLarge(HTTPException):
    """The body, or the file in it, is over `limit` bytes; raised out of the read that found so."""

    def __init__(self, limit: int) -> None:
        super().__init__(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        self.limit = limit


def is_form(scope: Scope) -> bool:
    """Whether the body is announced as a form that may hold a file."""
    return Headers(scope=scope).get("content-type", "").startswith("multipart/form-data")


class BodyLimit:
    """ASGI middleware: refuses to read on past the limit that `limit_of` gives for a request.

    A form may be longer by `FORM_OVERHEAD`: the limit is that of the file in it. A length
    announced over the limit is refused before anything is read.
    """

    def __init__(self, app: ASGIApp, limit_of: Callable[[Scope], int]) -> None:
        self.app = app
        self.limit_of = limit_of

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve the request through a `receive` that counts."""
        if scope["type"] == "http":
            slack = FORM_OVERHEAD if is_form(scope) else 0
            limit = self.limit_of(scope)
            receive = limited(receive, limit, slack=slack, announced=_announced(scope))
        await self.app(scope, receive, send)


def limited(receive: Receive, limit: int, *, slack: int = 0, announced: int = 0) -> Receive:
    """The same `receive`, which raises `BodyTooLarge` once it gave more than `limit` + `slack`."""
    allowed, total = limit + slack, 0

    async def counting() -> Message:
        nonlocal total
        if announced > allowed:
            raise BodyTooLarge(limit)
        message = await receive()
        total += len(message.get("body", b""))
        if total > allowed:
            raise BodyTooLarge(limit)
        return message

    return counting


def tapped(receive: Receive, tap: Callable[[bytes], None]) -> Receive:
    """The same `receive`, which shows `tap` each part of the body that it gives."""

    async def tapping() -> Message:
        message = await receive()
        tap(message.get("body", b""))
        return message

    return tapping


def _announced(scope: Scope) -> int:
    length = Headers(scope=scope).get("content-length", "")
    return int(length) if length.isdecimal() else 0
