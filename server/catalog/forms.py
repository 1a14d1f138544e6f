"""Normal forms of images held: those kept, and those made again of what is decoded."""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import col

from server.catalog.work import Work
from server.store import forms
from server.store.images import Decoding, ImageRow
from server.store.listings import unpack_listing
from server.tape.identify import decode
from server.tape.kinship import NormalForm
from server.tape.listing import Listing
from server.tape.machine_notation import writing_of
from server.tape.normal_form import form_of, is_textual

_DECODED = (
    select(
        col(Decoding.image_id),
        col(ImageRow.levels),
        col(Decoding.format),
        col(Decoding.language),
        col(Decoding.content),
        col(Decoding.listing),
        col(Decoding.load_ranges),
    )
    .join(ImageRow, col(ImageRow.id) == col(Decoding.image_id))
    .where(col(Decoding.superseded).is_(False))
)


class _Held(NamedTuple):
    """A row of `_DECODED`."""

    image_id: int
    levels: int
    format: str
    language: str | None
    content: bytes
    listing: bytes
    load_ranges: list[dict[str, int]]


def of(work: Work, image_ids: set[int]) -> Mapping[int, NormalForm]:
    """The normal forms of images held, by id: kept ones, and new ones where none is kept."""
    kept = forms.kept(work.session, image_ids)
    return {**kept, **dict(remade(work, image_ids - kept.keys()))}


def remade(work: Work, image_ids: set[int]) -> Iterator[tuple[int, NormalForm]]:
    """The normal forms of images held, made anew of their newest decodings."""
    if image_ids:
        rows = work.session.execute(_DECODED.where(col(Decoding.image_id).in_(image_ids)))
        yield from ((row.image_id, _form(work, _Held(*row))) for row in rows)


def _form(work: Work, held: _Held) -> NormalForm:
    """The normal form of an image held, out of no more of its decoding than it needs."""
    textual = is_textual(held.format, held.language)
    listing = unpack_listing(held.listing) if textual else Listing()
    memory, cell_bytes = ({}, 1) if textual else _memory(work, held)
    return form_of(held.format, held.language, listing, held.content, memory, cell_bytes)


def _memory(work: Work, held: _Held) -> tuple[Mapping[int, bytes], int]:
    """What the image loads, and the bytes of a cell.

    Not stored, but read from its frames again, lettering and parts too.
    """
    if not held.load_ranges:
        return {}, writing_of(held.format).cell_bytes
    frames = work.session.scalar(
        select(col(ImageRow.frames)).where(col(ImageRow.id) == held.image_id)
    )
    assert frames is not None
    decoding = decode(frames, held.levels).decoding
    return decoding.memory_by_byte, decoding.cell_bytes
