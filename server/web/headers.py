"""The headers that every answer carries, so that a browser runs and embeds nothing but our own."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; "
    "frame-ancestors 'none'"
)

HEADERS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "Content-Security-Policy": CONTENT_POLICY,
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    }
)

STRICT_TRANSPORT: Final = "max-age=31536000; includeSubDomains"


class SecurityHeaders:
    """Adds the headers to every answer; over TLS (`secure`) also the one that keeps it so."""

    def __init__(self, app: ASGIApp, *, secure: bool) -> None:
        self._app = app
        self._headers = dict(HEADERS)
        if secure:
            self._headers["Strict-Transport-Security"] = STRICT_TRANSPORT

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve the request, and add the headers where the answer has none of that name."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers.setdefault(name, value)
            await send(message)

        await self._app(scope, receive, with_headers)
