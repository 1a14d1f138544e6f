"""The frames of an image as a download: exactly the bytes that its digest names."""

from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Self
from urllib.parse import quote

from starlette.responses import Response

from server.catalog.records import Download
from server.delivery.conditions import not_modified, range_still_applies, tag
from server.delivery.digests import digest_field, field_of
from server.delivery.ranges import requested

MEDIA_TYPE = "application/octet-stream"

FOREVER = "public, max-age=31536000, immutable, no-transform"
"""Bytes under their own digest never change (RFC 8246), nor may a proxy recode them."""

ASK_AGAIN = "private, no-cache, no-transform"
"""Bytes that not everybody is given, or that an address gives as long as something stands."""


@dataclass(frozen=True, slots=True)
class Frames:
    """What is sent: the bytes, their SHA-256 in hexadecimal, and a name for the file."""

    data: bytes
    sha256: str
    file_name: str
    verification: str

    @classmethod
    def of(cls, download: Download) -> Self:
        """What is sent of what the catalog let go."""
        word = "verified" if download.verified else "unverified"
        return cls(download.frames, download.sha256, download.file_name, word)


def attachment(file_name: str) -> str:
    """A Content-Disposition (RFC 6266) that saves under `file_name`, in ASCII and in full."""
    plain = "".join(each if each.isalnum() or each in "._- " else "_" for each in file_name)
    ascii_name = plain.encode("ascii", "replace").decode().replace("?", "_")
    return f"attachment; filename=\"{ascii_name}\"; filename*=UTF-8''{quote(file_name, safe='')}"


def deliver(frames: Frames, headers: Mapping[str, str], *, cache: str = FOREVER) -> Response:
    """The answer to a GET with these request `headers`: the whole, a part, or 'not modified'.

    Raises:
        Refused: a header has no meaning, or the range begins after the last frame.
    """
    current = tag(frames.sha256)
    common = {
        "ETag": current,
        "Cache-Control": cache,
        "Accept-Ranges": "bytes",
        "Feedhole-Verification": frames.verification,
    }
    if not_modified(headers, current):
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=common)
    common |= {
        "Repr-Digest": field_of(frames.sha256),
        "Content-Disposition": attachment(frames.file_name),
    }
    size = len(frames.data)
    asked = headers.get("Range")
    part = requested(asked, size) if asked and range_still_applies(headers, current) else None
    if part is None:
        common["Content-Digest"] = common["Repr-Digest"]
        return Response(frames.data, headers=common, media_type=MEDIA_TYPE)
    body = frames.data[part.start : part.stop]
    common |= {
        "Content-Range": f"bytes {part.start}-{part.stop - 1}/{size}",
        "Content-Digest": digest_field(body),
    }
    return Response(body, HTTPStatus.PARTIAL_CONTENT, headers=common, media_type=MEDIA_TYPE)
