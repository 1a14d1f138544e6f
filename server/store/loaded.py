"""The bytes of images, as they are searched: their frames, and the memory that they load."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, TypeAlias

import numpy as np
from sqlalchemy import BigInteger, Column, LargeBinary, Select, delete, literal, select
from sqlalchemy.orm import Session
from sqlmodel import Field, col

from server.store.grams import Grams, grams_of
from server.store.row import Row
from server.store.search import index_of

FRAMES: Final = "frames_search"
MEMORY: Final = "memory_search"
"""The indexes of grams: of frames by the id of the image, of memory by that of the run."""

INDEXED_BYTES: Final = 2_000_000
"""How much of one image is looked up by its grams; what is longer is no program but noise."""

_CHANNELS: Final = np.uint8(0x7F)
"""Channel 8 may be parity, so that grams are made of the other seven."""


AnySelect: TypeAlias = Select[*tuple[Any, ...]]


class LoadedRun(Row, table=True):
    """A run of memory that an image loads, from `address` on."""

    __tablename__ = "loaded_run"

    id: int | None = Field(default=None, primary_key=True)
    image_id: int = Field(foreign_key="image.id", index=True)
    address: int = Field(sa_type=BigInteger)
    data: bytes = Field(sa_column=Column("data", LargeBinary, nullable=False))


def byte_grams(data: bytes) -> Grams:
    """The grams of bytes, whatever their channel 8."""
    return grams_of(without_parity(data[:INDEXED_BYTES]))


def without_parity(data: bytes) -> bytes:
    """The bytes with channel 8 blank."""
    return (np.frombuffer(data, np.uint8) & _CHANNELS).tobytes()


def index_frames(session: Session, rows: Iterable[tuple[int, bytes]]) -> None:
    """Make frames searchable, by the id of their image; images never change, so once."""
    index_of(session).put(session, FRAMES, ((key, byte_grams(frames)) for key, frames in rows))


def index_memory(session: Session, image_id: int, memory: Mapping[int, bytes]) -> None:
    """Make what an image loads searchable, in place of what was there."""
    for run in session.scalars(select(LoadedRun).where(col(LoadedRun.image_id) == image_id)):
        assert run.id is not None
        index_of(session).take_out(session, MEMORY, run.id, byte_grams(run.data))
    session.execute(delete(LoadedRun).where(col(LoadedRun.image_id) == image_id))
    if not memory:
        return
    runs = [
        LoadedRun(image_id=image_id, address=address, data=memory[address])
        for address in sorted(memory)
    ]
    session.add_all(runs)
    session.flush()
    grams = ((known, byte_grams(run.data)) for run in runs if (known := run.id) is not None)
    index_of(session).put(session, MEMORY, grams)


def having(
    session: Session, rows: AnySelect, key: Any, index: str, runs: Sequence[Grams]
) -> tuple[AnySelect, Any]:
    """Those of the `rows`, each known by its `key`, that have all grams of all the `runs`.

    And the index's own key: in its order the rows come without a look at all the others.
    """
    grams = index_of(session)
    asked = grams.having(index, [literal(way, grams.type) for way in grams.asked([runs])])
    return rows.join(asked.rows, asked.key == key).where(asked.condition), asked.key
