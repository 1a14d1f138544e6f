"""A passkey in software, made from the standard with a library of its own for the cryptography.

Laid out as W3C Web Authentication, level 2, sections 6.1, 6.4 and 6.5 (from memory) has it, with
ES256 (COSE: RFC 9053, section 2.1); each part can be made wrong.
"""

import hashlib
import json
from base64 import urlsafe_b64encode
from typing import Any

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from fido2 import cbor

PRESENT, VERIFIED, KEY_INCLUDED = 0x01, 0x04, 0x40


def base64url(data: bytes) -> str:
    return urlsafe_b64encode(data).rstrip(b"=").decode()


class SoftwareKey:
    """A key for the site `host`, opened at `origin`."""

    def __init__(self, host: str, origin: str) -> None:
        self.host, self.origin = host, origin
        self.id = hashlib.sha256(repr(id(self)).encode()).digest()
        self.handle = b""
        self.uses = 0
        self._private = ec.generate_private_key(ec.SECP256R1())

    def _facts(self, flags: int, host: str, more: bytes = b"") -> bytes:
        named = hashlib.sha256(host.encode()).digest()
        return named + bytes([flags]) + self.uses.to_bytes(4, "big") + more

    def _client(self, kind: str, challenge: str, origin: str | None) -> bytes:
        told = {"type": kind, "challenge": challenge, "origin": origin or self.origin}
        return json.dumps(told).encode()

    def made(
        self, asked: dict[str, Any], *, flags: int = PRESENT | VERIFIED, origin: str | None = None,
        host: str | None = None, kind: str = "webauthn.create",
    ) -> dict[str, Any]:  # fmt: skip
        """The answer to a wish for a new key."""
        self.handle = asked["user"]["id"]
        numbers = self._private.public_key().public_numbers()
        key = {1: 2, 3: -7, -1: 1, -2: numbers.x.to_bytes(32, "big"), -3: numbers.y.to_bytes(32)}
        held = bytes(16) + len(self.id).to_bytes(2, "big") + self.id + cbor.encode(key)
        facts = self._facts(flags | KEY_INCLUDED, host or self.host, held)
        attested = cbor.encode({"fmt": "none", "attStmt": {}, "authData": facts})
        client = self._client(kind, asked["challenge"], origin)
        return self._answer(clientDataJSON=base64url(client), attestationObject=base64url(attested))

    def used(
        self, asked: dict[str, Any], *, flags: int = PRESENT | VERIFIED, origin: str | None = None,
        host: str | None = None, kind: str = "webauthn.get", handle: bytes | None = None,
        spoil: bool = False,
    ) -> dict[str, Any]:  # fmt: skip
        """The answer to a wish to sign in."""
        client = self._client(kind, asked["challenge"], origin)
        facts = self._facts(flags, host or self.host)
        signed = facts + hashlib.sha256(client + b"x" * spoil).digest()
        signature = self._private.sign(signed, ec.ECDSA(hashes.SHA256()))
        told = self.handle if handle is None else base64url(handle)
        return self._answer(
            clientDataJSON=base64url(client),
            authenticatorData=base64url(facts),
            signature=base64url(signature),
            userHandle=told,
        )

    def _answer(self, **response: Any) -> dict[str, Any]:
        name = base64url(self.id)
        return {
            "id": name, "rawId": name, "type": "public-key", "response": response,
            "clientExtensionResults": {},
        }  # fmt: skip
