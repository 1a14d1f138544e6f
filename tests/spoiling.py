"""Damage to held frames such as a failing disk does it: past the database and all its triggers."""

import sqlite3
from pathlib import Path

from sqlalchemy import Engine, create_engine, text

AT = 0.4
"""Where in the frames they are spoilt, as a share of their length: within the content."""
LOOKED_FOR = 24
AROUND = 600


def spoil(engine: Engine, sha256: str) -> bytes:
    """Flip a hole of the image's frames where they are stored; gives the frames as they are now.

    On SQLite the byte is changed in the database file itself, by no connection. PostgreSQL keeps
    rows packed; there the server's own setting for replication leaves the triggers out.
    """
    with engine.connect() as connection:
        frames = connection.scalar(
            text("SELECT frames FROM image WHERE sha256 = :sha256"), {"sha256": sha256}
        )
    assert isinstance(frames, bytes)
    at = int(len(frames) * AT)
    spoilt = frames[:at] + bytes([frames[at] ^ 0b100]) + frames[at + 1 :]
    if engine.dialect.name == "sqlite":
        _in_the_file(engine, frames, at)
    else:
        _past_the_triggers(engine, sha256, spoilt)
    return spoilt


def _in_the_file(engine: Engine, frames: bytes, at: int) -> None:
    path = Path(engine.url.database or "")
    engine.dispose()  # what connections remember of the page would hide what is in the file
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    held = bytearray(path.read_bytes())
    held[_place(bytes(held), frames, at)] ^= 0b100
    path.write_bytes(held)


def _place(held: bytes, frames: bytes, at: int) -> int:
    """Where frame `at` lies in the file; kin have runs in common, so the longest match counts."""
    run = frames[at : at + LOOKED_FOR]
    places = [place for place in range(len(held)) if held.startswith(run, place)]

    def alike(place: int) -> int:
        around = range(-min(at, AROUND), min(len(frames) - at, AROUND))
        return sum(held[place + offset] == frames[at + offset] for offset in around)

    *others, best = sorted(places, key=alike)
    assert not others or alike(others[-1]) < alike(best), f"found at {places} in the file"
    return best


def _past_the_triggers(engine: Engine, sha256: str, spoilt: bytes) -> None:
    keeper = create_engine(engine.url)
    with keeper.begin() as connection:
        connection.execute(text("SET session_replication_role = replica"))
        connection.execute(
            text("UPDATE image SET frames = :frames WHERE sha256 = :sha256"),
            {"frames": spoilt, "sha256": sha256},
        )
    keeper.dispose()
