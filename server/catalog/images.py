"""Images, as the archive knows them."""

from sqlalchemy import ColumnElement, select
from sqlmodel import col

from server.catalog import (
    decodings,
    fixity,
    handling,
    kinship,
    named,
    side_by_side,
    verification,
)
from server.catalog.held import image_id_of, known, titles
from server.catalog.records import (
    Comparison,
    ImageRecord,
    KinRecord,
    ReadingRecord,
    TapeLink,
    VersionLink,
    common_language,
)
from server.catalog.work import COMMAND, Work
from server.store.images import Decoding, ImageRow, Reading
from server.store.listings import unpack_listing
from server.store.merging import MergedReading
from server.store.people import Person
from server.store.programs import Program, Version
from server.store.tapes import Tape
from server.tape.findings import CheckStatus
from server.tape.image import Orientation, Span
from server.tape.kinship import align
from server.tape.listing import Listing


def get(work: Work, sha256: str) -> ImageRecord:
    """An image and its newest decoding.

    Raises:
        NotFound: it is not held.
    """
    return of_id(work, image_id_of(work, sha256))


def of_id(work: Work, image_id: int) -> ImageRecord:
    """The image with that id, which must be held."""
    image, decoding = work.session.execute(
        select(ImageRow, Decoding)
        .join(Decoding, col(Decoding.image_id) == col(ImageRow.id))
        .where(col(ImageRow.id) == image_id, ~col(Decoding.superseded))
    ).one()
    readings = readings_where(work, col(Reading.image_id) == image_id)
    return ImageRecord(
        sha256=image.sha256,
        bytes=image.size,
        levels=image.levels,
        orientation=Orientation(decoding.orientation),
        leader_frames=decoding.leader_frames,
        trailer_frames=decoding.trailer_frames,
        code=decoding.code,
        parity=decoding.parity,
        format=decoding.format,
        dialect=decoding.dialect,
        language=decoding.language,
        loader=decoding.loader,
        check_status=CheckStatus(decoding.check_status),
        load_ranges=decodings.load_ranges_of(decoding),
        entry_address=decoding.entry_address,
        lettering=decoding.lettering,
        findings=decodings.findings_of(decoding),
        identified=decodings.identified_of(decoding),
        content_sha256=decoding.content_sha256,
        lines=decoding.line_count,
        data=Span(decoding.data_start, decoding.data_stop),
        decoder_release=decoding.decoder_release,
        title=titles(work, [image_id])[image_id].title,
        received=image.created_at,
        verification=verification.state_of(work, image_id),
        processor=decodings.processor_of(decoding),
        parts=decodings.parts_of(decoding),
        blocks=decodings.blocks_of(decoding),
        facts=decodings.facts_of(decoding),
        readings=readings,
        tapes=_tapes(work, image_id),
        versions=_versions(work, image_id),
        fixity_checked=fixity.checked(work, image_id),
        fixity_failure=fixity.failure_of(work, image.sha256),
    )


def frames(work: Work, sha256: str) -> bytes:
    """The frames of an image, a byte each.

    Raises:
        NotFound: it is not held.
    """
    image_id = image_id_of(work, sha256)
    found = work.session.scalar(select(col(ImageRow.frames)).where(col(ImageRow.id) == image_id))
    assert found is not None
    return found


def own_frames(work: Work, sha256: str) -> bytes:
    """The frames of an image to make something of, hashed once more.

    Raises:
        NotFound: it is not held.
        FixityFailed: they are not those of its name.
    """
    return fixity.require_own(work, sha256.lower(), frames(work, sha256))


def listing(work: Work, sha256: str, start: int = 0, stop: int | None = None) -> Listing:
    """The listing of an image, from its newest decoding, or its lines from `start` to `stop`.

    Raises:
        NotFound: it is not held.
    """
    image_id = image_id_of(work, sha256)
    packed = work.session.scalar(
        select(col(Decoding.listing)).where(
            col(Decoding.image_id) == image_id, ~col(Decoding.superseded)
        )
    )
    assert packed is not None
    return unpack_listing(packed, start, stop)


def kin(work: Work, sha256: str) -> tuple[KinRecord, ...]:
    """What an image resembles, nearest first.

    Raises:
        NotFound: it is not held.
    """
    return kinship.of(work, image_id_of(work, sha256))


def comparison(work: Work, sha256: str, other: str) -> Comparison:
    """Two images line by line; `added` is what the other has and the first has not.

    Their first lines only, where they are longer than a full roll (see `side_by_side`).

    Raises:
        NotFound: one of them is not held.
    """
    a, b = get(work, sha256), get(work, other)
    left, right = (
        side_by_side.compared(listing(work, each.sha256, 0, side_by_side.MOST_LINES))
        for each in (a, b)
    )
    found = kinship.between(work, image_id_of(work, other), image_id_of(work, sha256))
    return Comparison(
        a,
        b,
        found,
        left,
        right,
        align(left, right, language=common_language(a, b), renumbered=found.renumbered),
        side_by_side.left_out(left, right, (a.lines, b.lines)),
    )


def readings_where(work: Work, condition: ColumnElement[bool]) -> tuple[ReadingRecord, ...]:
    """The readings that meet the condition, oldest first."""
    rows = work.session.execute(
        select(
            Reading,
            col(ImageRow.sha256),
            col(Tape.accession_number),
            named.name_of(work),
            col(MergedReading.id),
        )
        .join(ImageRow, col(ImageRow.id) == col(Reading.image_id))
        .outerjoin(MergedReading, col(MergedReading.reading_id) == col(Reading.id))
        .outerjoin(Tape, col(Tape.id) == col(Reading.tape_id))
        .outerjoin(Person, col(Person.id) == col(Reading.accepted_by_id))
        .where(condition)
        .order_by(col(Reading.id))
    )
    return tuple(
        ReadingRecord(
            id=known(reading.id),
            sha256=sha256,
            file_name=reading.file_name,
            tape=tape,
            read_on=reading.read_on,
            reader=reading.reader,
            by=name or COMMAND.name,
            received=reading.accepted_at,
            merged=merged,
        )
        for reading, sha256, tape, name, merged in rows
    )


def _tapes(work: Work, image_id: int) -> tuple[TapeLink, ...]:
    tapes = work.session.scalars(
        select(Tape)
        .where(
            col(Tape.id).in_(
                select(col(Reading.tape_id)).where(
                    col(Reading.image_id) == image_id, col(Reading.tape_id).is_not(None)
                )
            )
        )
        .order_by(col(Tape.accession_key))
    )
    return tuple(
        TapeLink(each.accession_number, each.title, handling.do_not_run(each)) for each in tapes
    )


def _versions(work: Work, image_id: int) -> tuple[VersionLink, ...]:
    rows = work.session.execute(
        select(col(Program.id), col(Program.title), col(Version.label), col(Version.id))
        .join(Version, col(Version.program_id) == col(Program.id))
        .where(col(Version.image_id) == image_id)
        .order_by(col(Version.id))
    )
    return tuple(
        VersionLink(known(program), title, label, known(version))
        for program, title, label, version in rows
    )
