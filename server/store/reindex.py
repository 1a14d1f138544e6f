"""Making everything searchable anew, from the rows that there are."""

from collections.abc import Iterator, Mapping
from itertools import islice
from typing import Any, Final

from sqlalchemy import Select, delete, select, update
from sqlalchemy.orm import Session
from sqlmodel import col

from server.store import spelling
from server.store.images import Decoding, ImageRow
from server.store.loaded import LoadedRun, index_frames, index_memory
from server.store.search import NAMING, grams_of_texts, index_of, plain
from server.store.texts import LISTINGS, RECORDS, ListingText, RecordText
from server.tape.formats import FORMATS
from server.tape.image import Image, Orientation
from server.tape.view import View

BATCH: Final = 200
"""Rows that are held in memory together."""


def fill(session: Session) -> None:
    """Fill the indexes, which must be empty, from listings, records and images."""
    for texts in _batches(session, select(col(ListingText.image_id), col(ListingText.body))):
        rows = [(key, grams_of_texts(body)) for key, body in texts]
        index_of(session).put(session, LISTINGS.index, rows)
    records = select(
        col(RecordText.id), col(RecordText.field), col(RecordText.body), col(RecordText.plain)
    )
    for several in _batches(session, records):
        rows = [(key, grams_of_texts(body, name)) for key, _, body, name in several]
        index_of(session).put(session, RECORDS.index, rows)
        spelling.learn(session, [body for _, field, body, _ in several if field in spelling.FIELDS])
    _fill_bytes(session)


def _fill_bytes(session: Session) -> None:
    session.execute(delete(LoadedRun))
    decoded = (
        select(
            col(ImageRow.id),
            col(ImageRow.frames),
            col(ImageRow.levels),
            col(Decoding.format),
            col(Decoding.orientation),
            col(Decoding.load_ranges),
        )
        .join(Decoding, col(Decoding.image_id) == col(ImageRow.id))
        .where(~col(Decoding.superseded))
        .order_by(col(ImageRow.id))
    )
    for batch in _batches(session, decoded):
        index_frames(session, [(image_id, frames) for image_id, frames, *_ in batch])
        for image_id, frames, levels, form, orientation, ranges in batch:
            if ranges and form in FORMATS:
                memory = _memory(frames, levels, form, orientation)
                index_memory(session, image_id, memory)


def _memory(frames: bytes, levels: int, form: str, orientation: str) -> Mapping[int, bytes]:
    """What the image loads, read from its frames as they were when it came in."""
    return FORMATS[form].parse(View(Image(frames, levels), Orientation(orientation))).memory


def _batches(session: Session, rows: Select[*tuple[Any, ...]]) -> Iterator[list[Any]]:
    held = session.execute(rows.execution_options(yield_per=BATCH))
    while batch := list(islice(held, BATCH)):
        yield batch


def name_records(session: Session) -> None:
    """Fill the column `plain` of the texts of records."""
    key = col(RecordText.id)
    naming = select(key, col(RecordText.body)).where(col(RecordText.field).in_(NAMING))
    for record, body in session.execute(naming).all():
        session.execute(update(RecordText).where(key == record).values(plain=plain(body)))
