"""What fixity checks write down of an image: that it fails, or that it is itself again."""

import hashlib
from typing import Final

from server.catalog import events
from server.catalog.events import EventType, ObjectKind
from server.catalog.work import Work

FAIL: Final = "fail"
ALGORITHM: Final = "SHA-256"
AGENT: Final = "fixity audit"


def digest(frames: bytes) -> str:
    """The SHA-256 in hexadecimal digits, as images are named."""
    return hashlib.sha256(frames).hexdigest()


def described(frames: bytes | None) -> str:
    """What was found in the place of an image's frames, as a clause."""
    if frames is None:
        return "the database cannot read the frames"
    return f"{len(frames):,} bytes whose {ALGORITHM} is {digest(frames)}"


def record_failure(
    work: Work, sha256: str, frames: bytes | None, remark: str, **facts: str
) -> None:
    """Write down that the held frames are not those of the name."""
    found = {} if frames is None else {"found": digest(frames), "bytes": len(frames)}
    events.record(
        work,
        EventType.FIXITY,
        ObjectKind.IMAGE,
        sha256,
        outcome=FAIL,
        detail=f"{described(frames)}; {remark}",
        facts={"algorithm": ALGORITHM, **found, **facts},
        agent=AGENT,
    )


def record_intact(work: Work, sha256: str, remark: str, **facts: str) -> None:
    """Write down that the held frames are those of the name again."""
    events.record(
        work,
        EventType.FIXITY,
        ObjectKind.IMAGE,
        sha256,
        detail=remark,
        facts={"algorithm": ALGORITHM, **facts},
        agent=AGENT,
    )
