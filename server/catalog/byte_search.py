"""Finding bytes, with gaps, in the frames of images and in the memory that they load.

The index of grams names what may hold them; each is then read. A pattern without three known
bytes in a row is not looked up: the images are read through, the newest first. Either way no
more than `READ_AT_ONCE` is read before the caller is told how far the search came.
"""

from collections.abc import Iterator
from itertools import islice
from typing import Any, Final, NamedTuple

from sqlalchemy import Select, select
from sqlmodel import col

from server.catalog.byte_pattern import BytePattern, read
from server.catalog.byte_values import ByteHit, BytePage, BytePlace, ByteQuery, Where
from server.catalog.held import titles
from server.catalog.line_places import Starts, by_address, by_frame, line_at
from server.catalog.work import Work
from server.store.grams import grams_asked
from server.store.images import Decoding, ImageRow
from server.store.listings import unpack_listing
from server.store.loaded import FRAMES, MEMORY, LoadedRun, having
from server.tape.machine_notation import Writing, writing_of

PLACES_SHOWN: Final = 3
AROUND: Final = 8
"""Bytes shown before and after a place; even, so that they are whole words too."""

COUNTED_PLACES: Final = 1000
"""Places in one image are counted so far."""

BATCH: Final = 50
READ_AT_ONCE: Final = 30_000_000
"""Bytes read for one page: about 6,000 images."""


class _Run(NamedTuple):
    """Bytes that are read: their key in the index, their image, and the cell they begin with."""

    key: int
    image_id: int
    start: int
    data: bytes


class _Held(NamedTuple):
    """A run, and the places in it."""

    run: _Run
    places: list[int]


def find(work: Work, query: ByteQuery) -> BytePage:
    """What holds the bytes, from `query.cursor` on.

    Raises:
        Invalid: the bytes cannot be read.
    """
    if not query.bytes.strip():
        return BytePage((), 0, None)
    return search(work, read(query.bytes, query.base), query)


def search(work: Work, pattern: BytePattern, query: ByteQuery) -> BytePage:
    """As `find`, for a pattern that was read already."""
    regex, held, looked, amount = pattern.regex, [], 0, 0
    last: int | None = None
    for run in _runs(work, pattern, query):
        looked, amount, last = looked + 1, amount + len(run.data), run.key
        places = [match.start() for match in islice(_matches(regex, run.data), COUNTED_PLACES)]
        if places:
            held.append(_Held(run, places))
        if len(held) == query.limit or amount > READ_AT_ONCE:
            break
    else:
        last = None
    return BytePage(tuple(_hits(work, query.where, held, len(pattern))), looked, last)


def _matches(regex: Any, data: bytes) -> Iterator[Any]:
    """All matches, those that overlap too."""
    match = regex.search(data)
    while match is not None:
        yield match
        match = regex.search(data, match.start() + 1)


def _runs(work: Work, pattern: BytePattern, query: ByteQuery) -> Iterator[_Run]:
    """What may hold the pattern, the newest first, read a batch at a time."""
    rows, key = _sources(query.where)
    index = FRAMES if query.where is Where.FRAMES else MEMORY
    if pattern.runs:
        grams = [grams_asked(run) for run in pattern.runs]
        rows, key = having(work.session, rows, key, index, grams)
    before = query.cursor
    while True:
        batch = rows if before is None else rows.where(key < before)
        found = work.session.execute(batch.order_by(key.desc()).limit(BATCH)).all()
        yield from (_Run(*row) for row in found)
        if len(found) < BATCH:
            return
        before = found[-1][0]


def _sources(where: Where) -> tuple[Select[*tuple[Any, ...]], Any]:
    if where is Where.FRAMES:
        frames: Select[*tuple[Any, ...]] = select(
            col(ImageRow.id), col(ImageRow.id), col(ImageRow.id) * 0, col(ImageRow.frames)
        )
        return frames, col(ImageRow.id)
    memory: Select[*tuple[Any, ...]] = select(
        col(LoadedRun.id), col(LoadedRun.image_id), col(LoadedRun.address), col(LoadedRun.data)
    ).join(Decoding, col(Decoding.image_id) == col(LoadedRun.image_id))
    return memory.where(~col(Decoding.superseded)), col(LoadedRun.id)


def _hits(work: Work, where: Where, held: list[_Held], size: int) -> Iterator[ByteHit]:
    ids = [each.run.image_id for each in held]
    if not ids:
        return
    names = titles(work, ids)
    images = {row.image_id: row for row in work.session.execute(_images(ids))}
    for run, places in held:
        image = images[run.image_id]
        lines = unpack_listing(image.listing).lines
        line_of = by_address(lines) if where is Where.MEMORY else by_frame(lines)
        writing = _writing(image.format, image.processor, where)
        yield ByteHit(
            sha256=image.sha256,
            title=names[run.image_id].title,
            accession=names[run.image_id].accession,
            format=image.format,
            writing=writing,
            count=len(places),
            places=tuple(
                _place(run, place, size, writing.cell_bytes, line_of)
                for place in places[:PLACES_SHOWN]
            ),
        )


def _writing(format_name: str, processor: dict[str, Any] | None, where: Where) -> Writing:
    writing = writing_of(format_name, processor["processor"] if processor else None)
    return writing if where is Where.MEMORY else writing.of_frames


def _place(run: _Run, place: int, size: int, cell: int, line_of: Starts) -> BytePlace:
    """The place `place` bytes into the run, the `size` bytes there widened to whole cells."""
    start, stop = place - place % cell, place + size + -(place + size) % cell
    at = run.start + start // cell
    return BytePlace(
        at=at,
        before=run.data[max(0, start - AROUND) : start],
        found=run.data[start:stop],
        after=run.data[stop : stop + AROUND],
        line=line_at(line_of, at),
    )


def _images(ids: list[int]) -> Select[*tuple[Any, ...]]:
    return (
        select(
            col(Decoding.image_id),
            col(ImageRow.sha256),
            col(Decoding.format),
            col(Decoding.processor),
            col(Decoding.listing),
        )
        .join(ImageRow, col(ImageRow.id) == col(Decoding.image_id))
        .where(col(Decoding.image_id).in_(ids), ~col(Decoding.superseded))
    )
