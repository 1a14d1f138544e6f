"""The archive as the station reaches it: over its JSON interface, with a token.

The token goes to the archive that was named and nowhere else, and is never written down or said.
"""

import hashlib
import re
from base64 import b64encode
from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Any, Final
from urllib.parse import quote, urlsplit

import httpx

from server.station.errors import NotAsMeant, NotPossible, Refused, Unreachable

V1: Final = "/api/v1"

_TIMES: Final = httpx.Timeout(60.0, connect=10.0)
_LATER: Final = frozenset(
    {
        HTTPStatus.REQUEST_TIMEOUT,
        HTTPStatus.TOO_MANY_REQUESTS,
        HTTPStatus.INTERNAL_SERVER_ERROR,
        HTTPStatus.BAD_GATEWAY,
        HTTPStatus.SERVICE_UNAVAILABLE,
        HTTPStatus.GATEWAY_TIMEOUT,
    }
)
"""Answers that may be another one later; all others are meant."""

_LARGEST: Final = 50_000_000
_SHA256: Final = re.compile(r"(?<![0-9a-f])[0-9a-f]{64}(?![0-9a-f])")


@dataclass(frozen=True, slots=True)
class Fetched:
    """Frames from the archive, their SHA-256, and why the archive trusts them, if it says."""

    frames: bytes
    sha256: str
    verification: str


@dataclass(frozen=True, slots=True)
class Archive:
    """An archive at `address`, such as https://tapes.example; `token` may be empty.

    Raises:
        NotPossible: `address` is none of the web.
    """

    address: str
    token: str = field(default="", repr=False)

    def __post_init__(self) -> None:
        require_web_address(self.address)

    @property
    def in_the_clear(self) -> bool:
        """Whether the token would be sent for all on the way to read."""
        parts = urlsplit(self.address)
        here = parts.hostname in {"localhost", "127.0.0.1", "::1"}
        return bool(self.token) and parts.scheme == "http" and not here

    def readings(self, sha256: str) -> list[Mapping[str, Any]]:
        """The readings of an image; none where the image is not held.

        Raises:
            Unreachable, Refused: as everywhere here.
        """
        return self._list(f"/images/{sha256}", "readings")

    def read_backs(self, punching: int) -> list[Mapping[str, Any]]:
        """The readings of the new tape that a punching has; none where there is no such punching.

        Raises:
            Unreachable, Refused: as everywhere here.
        """
        return self._list(f"/punchings/{punching}", "read_backs")

    def running(self, tape: str) -> Mapping[str, Any]:
        """Whether a reader may have that tape now; nothing where the archive knows none such.

        Raises:
            Unreachable, Refused: as everywhere here.
        """
        response = self._request("GET", f"/tapes/{quote(tape, safe='')}/running")
        if response.status_code == HTTPStatus.NOT_FOUND:
            return {}
        _require_good(response)
        return _document(response)

    def _list(self, path: str, name: str) -> list[Mapping[str, Any]]:
        response = self._request("GET", path)
        if response.status_code == HTTPStatus.NOT_FOUND:
            return []
        _require_good(response)
        return list(_document(response).get(name, ()))

    def send(
        self,
        frames: bytes,
        file_name: str,
        fields: Mapping[str, str],
        punching: int | None = None,
    ) -> Mapping[str, Any]:
        """Enter a reading, or one that reads the tape of a `punching` back; the receipt.

        Raises:
            Unreachable, Refused: as everywhere here.
        """
        path = "/images" if punching is None else f"/punchings/{punching}/read-backs"
        files = {"file": (file_name, frames, "application/octet-stream")}
        response = self._request("POST", path, data=dict(fields), files=files)
        _require_good(response)
        return _document(response)

    def _request(self, method: str, path: str, **given: Any) -> httpx.Response:
        url = f"{self.address.rstrip('/')}{V1}{path}"
        return _asked(method, url, self.headers_for(url), **given)

    def headers_for(self, url: str) -> dict[str, str]:
        """What says who asks; nothing where `url` is not of this archive."""
        if not self.token or _origin(url) != _origin(self.address):
            return {}
        return {"Authorization": f"Bearer {self.token}"}


def fetch(url: str, archive: Archive | None, sha256: str = "") -> Fetched:
    """The frames at `url`; they must have the digest `sha256`, or one that `url` or answer names.

    Raises:
        NotPossible: `url` is none of the web, or nothing names a digest.
        NotAsMeant: the frames have another digest.
        Unreachable, Refused: the frames cannot be had.
    """
    require_web_address(url)
    response = _asked("GET", url, {} if archive is None else archive.headers_for(url))
    _require_good(response)
    frames = response.content
    if not frames or len(frames) > _LARGEST:
        raise NotAsMeant(
            f"{url} gives {len(frames):,} bytes, which is no tape.",
            mend="Give the address of the frames of an image or of a punching.",
        )
    found = hashlib.sha256(frames).hexdigest()
    told = [sha256, *_SHA256.findall(urlsplit(url).path)[-1:], _digest_told(response, found)]
    meant = [each for each in told if each]
    if not meant:
        raise NotPossible(
            f"Nothing says what SHA-256 the frames at {url} should have.",
            mend="Give it with --sha256.",
        )
    for each in meant:
        require_digest(frames, each)
    return Fetched(frames, found, response.headers.get("Feedhole-Verification", ""))


def require_digest(frames: bytes, sha256: str) -> None:
    """Refuse frames that have another digest than `sha256`.

    Raises:
        NotAsMeant: they have.
    """
    found = hashlib.sha256(frames).hexdigest()
    if found != sha256.lower():
        raise NotAsMeant(
            f"The frames have the SHA-256 {found}, not {sha256}.",
            mend="Fetch them again, or give the digest of the image that is meant.",
        )


def _digest_told(response: httpx.Response, found: str) -> str:
    """The digest in the header Repr-Digest (RFC 9530): `found` where it is the same."""
    told = re.search(r"sha-256=:([A-Za-z0-9+/=]*):", response.headers.get("Repr-Digest", ""))
    if told is None:
        return ""
    same = told[1] == b64encode(bytes.fromhex(found)).decode()
    return found if same else f"that the archive announced ({told[1]})"


def _asked(method: str, url: str, headers: Mapping[str, str], **given: Any) -> httpx.Response:
    try:
        return httpx.request(method, url, headers=dict(headers), timeout=_TIMES, **given)
    except httpx.TransportError as error:
        raise Unreachable(
            f"{_origin(url)} cannot be reached: {str(error) or type(error).__name__}.",
            mend="See to the network, or wait until it is back.",
        ) from None
    except httpx.InvalidURL as error:
        raise _no_address(url) from error


def _require_good(response: httpx.Response) -> None:
    if response.is_success:
        return
    told = _document(response)
    what = str(told.get("detail") or f"The answer was {response.status_code}.")
    mend = str(told.get("mend") or "Look at the address, and at what was sent.")
    if response.status_code in _LATER:
        raise Unreachable(f"The archive cannot take it now: {what}", mend=mend)
    raise Refused(what, mend=mend)


def _document(response: httpx.Response) -> dict[str, Any]:
    try:
        told = response.json()
    except ValueError:
        return {}
    return told if isinstance(told, dict) else {}


def require_web_address(url: str) -> None:
    """Refuse what is no address of the web.

    Raises:
        NotPossible: it is none.
    """
    try:
        parts = urlsplit(url)
    except ValueError:
        raise _no_address(url) from None
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise _no_address(url)


def _no_address(url: str) -> NotPossible:
    return NotPossible(
        f"{url} is no address of an archive.", mend="Give one such as https://tapes.example."
    )


def _origin(url: str) -> str:
    parts = urlsplit(url)
    return f"{parts.scheme}://{parts.netloc}".lower()
