"""Work that must be done one after the other, whoever does it.

SQLite lets one transaction write at a time as it is; PostgreSQL is asked to.
"""

import hashlib

from sqlalchemy import text
from sqlalchemy.orm import Session

_WAIT = text("SELECT pg_advisory_xact_lock(:turn)")


def take(session: Session, what: str) -> None:
    """Wait until nobody else does such work, and keep others from it until the transaction ends.

    What others wrote until then is seen from then on.
    """
    if session.get_bind().dialect.name == "postgresql":
        digest = hashlib.blake2b(what.encode(), digest_size=8).digest()
        session.execute(_WAIT, {"turn": int.from_bytes(digest, "big", signed=True)})
