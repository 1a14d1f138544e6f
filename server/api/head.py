"""HEAD wherever there is GET: RFC 9110, section 9.3.2."""

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_RANGED = {b"range", b"if-range"}


class HeadAsGet:
    """ASGI middleware: answers HEAD with what GET would, without the body.

    Ranges are meant for GET only (section 14.2), so they are passed over.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve the request."""
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return
        headers = [each for each in Headers(scope=scope).raw if each[0] not in _RANGED]

        async def without_body(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self.app({**scope, "method": "GET", "headers": headers}, receive, without_body)
