"""Normal forms as they are stored: what a query for kin compares, ready made.

A packed form is JSON, compressed: the lines and their numbers of a listing, the runs of memory
(in hexadecimal) of what loads some, and the bytes of a cell. The content stands beside it in the
decoding already.
"""

import json
import zlib
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Column, LargeBinary, bindparam, delete, insert, select
from sqlalchemy.orm import Session
from sqlmodel import Field, col

from server.store.images import Decoding
from server.store.row import Row
from server.tape.normal_form import NormalForm

RELEASE = 2
"""Raised whenever the same decoding would be brought to another form, or be packed otherwise."""

_QUICK = 1
_PACKED = Column("packed", LargeBinary, nullable=False)


class NormalFormRow(Row, table=True):
    """The normal form of the newest decoding of an image, in the release that made it."""

    __tablename__ = "normal_form"

    image_id: int = Field(
        foreign_key="image.id", primary_key=True, sa_column_kwargs={"autoincrement": False}
    )
    release: int
    textual: bool
    packed: bytes = Field(sa_column=_PACKED)


def keep(session: Session, image_id: int, form: NormalForm) -> None:
    """Keep the form of an image in place of the one before."""
    session.execute(delete(NormalFormRow).where(col(NormalFormRow.image_id) == image_id))
    session.execute(insert(NormalFormRow), [row_of(image_id, form)])


def row_of(image_id: int, form: NormalForm) -> dict[str, Any]:
    """The row that keeps a form."""
    return {
        "image_id": image_id,
        "release": RELEASE,
        "textual": form.textual,
        "packed": _pack(form),
    }


_KEPT = (
    select(
        col(NormalFormRow.image_id),
        col(NormalFormRow.textual),
        col(NormalFormRow.packed),
        col(Decoding.format),
        col(Decoding.content),
    )
    .join(Decoding, col(Decoding.image_id) == col(NormalFormRow.image_id))
    .where(
        col(NormalFormRow.image_id).in_(bindparam("image_ids", expanding=True)),
        col(NormalFormRow.release) == RELEASE,
        ~col(Decoding.superseded),
    )
)


def kept(session: Session, image_ids: set[int]) -> Mapping[int, NormalForm]:
    """The forms of those of `image_ids` that are kept in this release."""
    if not image_ids:
        return {}
    rows = session.connection().execute(_KEPT, {"image_ids": sorted(image_ids)})
    return {
        image_id: NormalForm(name, content=content, textual=textual, **_unpack(packed))
        for image_id, textual, packed, name, content in rows
    }


def _pack(form: NormalForm) -> bytes:
    memory = [[start, run.hex()] for start, run in form.memory]
    stands = [form.lines, form.keys, memory, form.cell_bytes]
    return zlib.compress(json.dumps(stands, separators=(",", ":")).encode(), _QUICK)


def _unpack(packed: bytes) -> dict[str, Any]:
    lines, keys, memory, cell_bytes = json.loads(zlib.decompress(packed))
    return {
        "lines": tuple(lines),
        "keys": tuple(keys),
        "memory": tuple((start, bytes.fromhex(run)) for start, run in memory),
        "cell_bytes": cell_bytes,
    }
