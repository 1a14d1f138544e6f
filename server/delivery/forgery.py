"""Whether a change was really asked for on one of our own pages.

Two checks, each enough against what a browser may be made to send: where the request comes from
(Sec-Fetch-Site, else Origin), and a secret in the form that no other site can read.
"""

import hmac
import secrets
from urllib.parse import urlsplit

from starlette.requests import Request

from server.statuses import FORGED, Refused

FIELD = "csrf"
HEADER = "X-CSRF-Token"


def masked(secret: str) -> str:
    """`secret`, different in every page, so that compressed pages do not betray it."""
    raw = secret.encode()
    pad = secrets.token_bytes(len(raw))
    return (pad + _mixed(raw, pad)).hex()


def matches(given: str, secret: str) -> bool:
    """Whether `given` is a masked `secret`."""
    try:
        raw = bytes.fromhex(given)
    except ValueError:
        return False
    half = len(raw) // 2
    return hmac.compare_digest(_mixed(raw[half:], raw[:half]), secret.encode())


def _mixed(one: bytes, other: bytes) -> bytes:
    return bytes(a ^ b for a, b in zip(one, other, strict=False))


def check_source(request: Request) -> None:
    """Nothing, if the browser says that the request comes from our own pages.

    Raises:
        Refused: it says that it comes from elsewhere.
    """
    site = request.headers.get("Sec-Fetch-Site")
    origin = request.headers.get("Origin")
    if site is not None:
        ours = site in {"same-origin", "none"}
    else:
        ours = origin is None or urlsplit(origin).netloc == request.headers.get("Host", "")
    if not ours:
        raise _forged("It was sent from a page of another site.")


def check_secret(given: str, secret: str) -> None:
    """Nothing, if the form carries the secret of the session.

    Raises:
        Refused: it does not.
    """
    if not secret or not matches(given, secret):
        raise _forged("The form carries no secret of your session, or an old one.")


def _forged(what: str) -> Refused:
    return Refused(
        FORGED,
        what,
        where="the form that was sent",
        mend="Go back, reload the page, and send the form again. Nothing was changed.",
    )
