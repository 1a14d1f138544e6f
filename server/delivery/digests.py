"""Digests in header fields: RFC 9530, written as dictionaries of byte sequences (RFC 9651)."""

import binascii
import hashlib
import re
from base64 import b64decode, b64encode
from collections.abc import Mapping
from typing import Any, Final

from server.statuses import DIGEST_MISMATCH, MALFORMED, Refused

ALGORITHMS: Final = ("sha-256", "sha-512")
"""The two that RFC 9530 (section 5) lists as active; others are passed over, as it allows."""

_MEMBER = re.compile(r"[ \t]*([a-z*][a-z0-9_.*-]*)=:([A-Za-z0-9+/=]*):[ \t]*(?:;[^,]*)?")


def field_of(sha256: str) -> str:
    """The field value for a SHA-256 given in hexadecimal."""
    return f"sha-256=:{b64encode(bytes.fromhex(sha256)).decode()}:"


def digest_field(data: bytes) -> str:
    """The field value for `data`."""
    return field_of(hashlib.sha256(data).hexdigest())


def parse(value: str, *, field: str) -> dict[str, bytes]:
    """The digests that the header `field` gives, by algorithm, those we can check only.

    Raises:
        Refused: the value is not a dictionary of byte sequences.
    """
    digests: dict[str, bytes] = {}
    for member in value.split(","):
        match = _MEMBER.fullmatch(member)
        if match is None:
            raise _unreadable(field)
        try:
            digests[match[1]] = b64decode(match[2], validate=True)
        except binascii.Error:
            raise _unreadable(field) from None
    return {name: digest for name, digest in digests.items() if name in ALGORITHMS}


def _unreadable(field: str) -> Refused:
    return Refused(
        MALFORMED,
        f"The header {field} is not a list of digests.",
        where=field,
        mend="Write it as sha-256=:BASE64: (RFC 9530).",
    )


class Checker:
    """Hashes a body while it is read, and compares it with the digests announced for it."""

    def __init__(self, headers: Mapping[str, str]) -> None:
        self._announced = {
            field: parse(headers[field], field=field)
            for field in ("Content-Digest", "Repr-Digest")
            if field in headers
        }
        wanted = {name for digests in self._announced.values() for name in digests}
        self._hashes: dict[str, Any] = {name: hashlib.new(name.replace("-", "")) for name in wanted}

    def update(self, chunk: bytes) -> None:
        """Take in the next part of the body."""
        for each in self._hashes.values():
            each.update(chunk)

    def finish(self) -> None:
        """Compare, now that the whole body was read.

        Raises:
            Refused: a digest differs.
        """
        for field, digests in self._announced.items():
            for name, announced in digests.items():
                found = self._hashes[name].digest()
                if found != announced:
                    raise Refused(
                        DIGEST_MISMATCH,
                        f"The {name} of the body is not the one announced.",
                        where=field,
                        mend=f"The body that arrived has {name}=:{b64encode(found).decode()}:.",
                    )
