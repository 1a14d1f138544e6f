"""Static files: kept for a year under the address that names their bytes, asked again otherwise."""

from typing import Any

from starlette.responses import Response
from starlette.staticfiles import StaticFiles

from server.checkout import STATIC


class Statics(StaticFiles):
    """The folder of stylesheet, scripts and drawings."""

    def __init__(self) -> None:
        super().__init__(directory=STATIC)

    def file_response(self, *args: Any, **kwargs: Any) -> Response:
        """The file, with how long it may be kept."""
        response = super().file_response(*args, **kwargs)
        scope = args[2] if len(args) > 2 else kwargs["scope"]
        named_by_bytes = scope.get("query_string", b"").startswith(b"v=")
        kept = "public, max-age=31536000, immutable" if named_by_bytes else "public, no-cache"
        response.headers["Cache-Control"] = kept
        return response
