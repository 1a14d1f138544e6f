"""What a search tells of the places it found: titles, the lines that hold the run, excerpts."""

from bisect import bisect_right
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Final, NamedTuple, cast

from sqlalchemy import bindparam, func, select
from sqlmodel import col

from server.catalog import program_records
from server.catalog.excerpt import one_line, pieces
from server.catalog.handling import do_not_run
from server.catalog.held import known, titles
from server.catalog.records import VerifiedBy
from server.catalog.search_cursor import Place, Stage
from server.catalog.search_values import FieldName, Hit, HitKind, SearchQuery
from server.catalog.verification import words_of
from server.catalog.vocabulary import Condition
from server.catalog.work import Work
from server.store.images import Decoding, ImageRow
from server.store.listings import Texts, unpack_listing, unpack_texts
from server.store.programs import Program, Version
from server.store.search import fold, record_of
from server.store.tapes import Tape
from server.tape.findings import CheckStatus
from server.tape.listing import Line

LINES_SHOWN: Final = 3
"""Lines of one listing that are hits of their own."""

CONTEXT: Final = 160
"""Characters of a line before or after one that is a hit."""


class _Image(NamedTuple):
    """What is told of an image with each of its lines."""

    id: int
    sha256: str
    check_status: str
    packed: bytes


def at(work: Work, query: SearchQuery, places: Sequence[Place]) -> Iterator[Hit]:
    """The hits at those places, in that order."""
    things = [_thing(place) for place in places]
    told = _Told(work, query, things)
    for place, (kind, field, number) in zip(places, things, strict=True):
        if place.stage is Stage.DIGEST:
            yield from told.of_digest(number)
        elif kind is HitKind.LISTING:
            yield from told.of_listing(number)
        elif query.line is not None:
            yield from told.at_line(kind, number)
        else:
            yield told.of_record(kind, field, number)


def _thing(place: Place) -> tuple[HitKind, FieldName, int]:
    if place.stage in (Stage.NAME, Stage.RECORD):
        kind, field, number = record_of(place.key)
        return HitKind(kind), cast("FieldName", field), number
    return HitKind.LISTING, "listing", place.key


class _Told:
    """All that is told of some things, looked up together."""

    def __init__(
        self, work: Work, query: SearchQuery, things: Sequence[tuple[HitKind, FieldName, int]]
    ) -> None:
        self._work, self._needle, self._line = work, query.q, query.line
        ids: dict[HitKind, set[int]] = {kind: set() for kind in HitKind}
        for kind, _, number in things:
            ids[kind].add(number)
        self._tapes = _tapes(work, ids[HitKind.TAPE])
        self._programs = _programs(work, ids[HitKind.PROGRAM])
        self._images_of: dict[tuple[HitKind, int], int] = {}
        if query.line is not None:
            self._images_of = _newest_images(work, ids)
        images = ids[HitKind.LISTING] | set(self._images_of.values())
        self._images = _images(work, images)
        self._titles = titles(work, images) if images else {}
        self._words = words_of(work, images) if images else {}

    def of_record(self, kind: HitKind, field: FieldName, number: int) -> Hit:
        """The field of a tape or program that holds the needle."""
        record = self._tapes[number] if kind is HitKind.TAPE else self._programs[number]
        if isinstance(record, Program):
            excerpt = pieces(program_records.text_of(self._work, record, field), self._needle)
            return Hit(kind, field, record.title, excerpt, program=number)
        excerpt = pieces(getattr(record, field), self._needle)
        return Hit(
            kind,
            field,
            record.title,
            excerpt,
            accession=record.accession_number,
            program=record.program_id,
            condition=Condition(record.condition),
            do_not_run=do_not_run(record),
            departed=record.deaccessioned_on is not None,
        )

    def of_digest(self, image_id: int) -> Iterator[Hit]:
        """An image whose name begins with the needle."""
        image = self._images.get(image_id)
        if image is not None:
            excerpt = pieces(image.sha256, self._needle.strip())
            yield self._hit(image, "sha256", excerpt, None)

    def of_listing(self, image_id: int) -> Iterator[Hit]:
        """The first lines of a listing that hold the needle, or the one that was asked for."""
        image = self._images.get(image_id)
        if image is None:
            return
        if self._line is not None:
            yield from self._asked_line(image)
            return
        texts = unpack_texts(image.packed)
        found = _holding(texts, fold(self._needle))
        for index in found[:LINES_SHOWN]:
            yield self._line_hit(image, "listing", texts, index, len(found))

    def at_line(self, kind: HitKind, number: int) -> Iterator[Hit]:
        """The line asked for, in the newest image of a tape or the newest version of a program."""
        image = self._images.get(self._images_of.get((kind, number), 0))
        if image is not None:
            yield from self._asked_line(image)

    def _asked_line(self, image: _Image) -> Iterator[Hit]:
        index = _index_of(unpack_listing(image.packed).lines, self._line or 0)
        if index is not None:
            yield self._line_hit(image, "line", unpack_texts(image.packed), index, None)

    def _line_hit(
        self,
        image: _Image,
        field: FieldName,
        texts: Texts,
        index: int,
        found: int | None,
    ) -> Hit:
        before = one_line(texts.line(index - 1)[:CONTEXT]) if index else None
        after = one_line(texts.line(index + 1)[:CONTEXT]) if index + 1 < len(texts) else None
        excerpt = pieces(texts.line(index), self._needle)
        return self._hit(
            image, field, excerpt, index + 1, lines_found=found, before=before, after=after
        )

    def _hit(
        self,
        image: _Image,
        field: FieldName,
        excerpt: tuple[tuple[str, bool], ...],
        line: int | None,
        *,
        lines_found: int | None = None,
        before: str | None = None,
        after: str | None = None,
    ) -> Hit:
        title, accession, barred = self._titles[image.id]
        return Hit(
            HitKind.LISTING,
            field,
            title,
            excerpt,
            sha256=image.sha256,
            accession=accession,
            line=line,
            lines_found=lines_found,
            before=before,
            after=after,
            check_status=CheckStatus(image.check_status),
            verification=VerifiedBy(self._words[image.id]),
            do_not_run=barred,
        )


def _holding(texts: Texts, needle: str) -> list[int]:
    """The indexes of the lines that hold a folded needle; they are folded as one text."""
    if not texts.joined.isascii():
        # Folded together, the first sign of a line might join the last one of the line before.
        return [index for index in range(len(texts)) if needle in fold(texts.line(index))]
    text, edges = fold(texts.joined), texts.edges
    found, at = [], text.find(needle)
    while at >= 0:
        index = bisect_right(edges, at) - 1
        if at + len(needle) <= edges[index + 1]:
            found.append(index)
            at = edges[index + 1] - 1
        at = text.find(needle, at + 1)
    return found


def _index_of(lines: Sequence[Line], number: int) -> int | None:
    """The line of that number: its own where lines have numbers, else its place from 1 on."""
    for index, line in enumerate(lines):
        if line.key == number:
            return index
    has_numbers = any(line.key is not None for line in lines)
    return number - 1 if not has_numbers and 0 < number <= len(lines) else None


_TAPES = select(Tape).where(col(Tape.id).in_(bindparam("ids", expanding=True)))
_PROGRAMS = select(Program).where(col(Program.id).in_(bindparam("ids", expanding=True)))


def _tapes(work: Work, ids: Collection[int]) -> Mapping[int, Tape]:
    found = work.session.scalars(_TAPES, {"ids": sorted(ids)}) if ids else ()
    return {known(row.id): row for row in found}


def _programs(work: Work, ids: Collection[int]) -> Mapping[int, Program]:
    found = work.session.scalars(_PROGRAMS, {"ids": sorted(ids)}) if ids else ()
    return {known(row.id): row for row in found}


_IMAGES = (
    select(
        col(Decoding.image_id),
        col(ImageRow.sha256),
        col(Decoding.check_status),
        col(Decoding.listing),
    )
    .join(ImageRow, col(ImageRow.id) == col(Decoding.image_id))
    .where(
        ~col(Decoding.superseded),
        col(Decoding.image_id).in_(bindparam("image_ids", expanding=True)),
    )
)


def _images(work: Work, ids: Collection[int]) -> Mapping[int, _Image]:
    if not ids:
        return {}
    rows = work.session.connection().execute(_IMAGES, {"image_ids": sorted(ids)}).all()
    return {row[0]: _Image(*row) for row in rows}


def _newest_images(
    work: Work, ids: Mapping[HitKind, Collection[int]]
) -> dict[tuple[HitKind, int], int]:
    """The image to look into for each tape and program, where it has one."""
    of_tapes = select(col(Tape.id), col(Tape.image_id)).where(
        col(Tape.id).in_(ids[HitKind.TAPE]), col(Tape.image_id).is_not(None)
    )
    newest = (
        select(func.max(col(Version.id)))
        .where(col(Version.program_id).in_(ids[HitKind.PROGRAM]))
        .group_by(col(Version.program_id))
    )
    of_programs = select(col(Version.program_id), col(Version.image_id)).where(
        col(Version.id).in_(newest)
    )
    return {
        (kind, known(number)): known(image_id)
        for kind, statement in ((HitKind.TAPE, of_tapes), (HitKind.PROGRAM, of_programs))
        for number, image_id in work.session.execute(statement)
    }
