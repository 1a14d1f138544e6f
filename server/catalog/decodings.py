"""Decodings between the tape core and their rows, in both directions."""

import hashlib
from dataclasses import asdict
from datetime import datetime
from typing import Any

from server.store.images import Decoding as DecodingRow
from server.store.listings import pack_listing
from server.tape.cpu.guess import Guess
from server.tape.findings import Finding, Severity
from server.tape.formats.base import LoadRange
from server.tape.identify import DECODER_RELEASE, Decoded, Identified
from server.tape.image import Orientation
from server.tape.loading import LoadedBlock
from server.tape.parts import PartKind, PartSummary
from server.tape.program_view import guess_of


def content_sha256(decoded: Decoded) -> str:
    """The name of the content: the same for tapes that differ in leader, parity, fill or turn."""
    return hashlib.sha256(decoded.decoding.content).hexdigest()


def to_row(decoded: Decoded, *, image_id: int, now: datetime) -> DecodingRow:
    """The row that keeps `decoded`."""
    decoding = decoded.decoding
    return DecodingRow(
        image_id=image_id,
        decoder_release=DECODER_RELEASE,
        decoded_at=now,
        format=decoding.format,
        dialect=decoding.dialect,
        language=decoding.language,
        code=decoding.code,
        parity=decoding.parity,
        orientation=decoded.orientation,
        leader_frames=decoded.leader_frames,
        trailer_frames=decoded.trailer_frames,
        data_start=decoding.data.start,
        data_stop=decoding.data.stop,
        check_status=decoding.check_status,
        entry_address=decoding.entry_address,
        content_sha256=content_sha256(decoded),
        loader=decoding.loader,
        lettering=decoded.lettering,
        line_count=len(decoding.listing),
        findings=[asdict(finding) for finding in decoding.findings],
        identified=[asdict(each) for each in decoded.identified],
        load_ranges=[each._asdict() for each in decoding.load_ranges],
        processor=_processor(decoded),
        parts=[part.summary._asdict() for part in decoded.parts],
        blocks=[block._asdict() for block in decoding.blocks],
        facts=[list(fact) for fact in decoding.facts],
        listing=pack_listing(decoding.listing),
        content=decoding.content,
    )


def _processor(decoded: Decoded) -> dict[str, Any] | None:
    guess = guess_of(decoded)
    return guess._asdict() if guess else None


def findings_of(row: DecodingRow) -> tuple[Finding, ...]:
    """The findings that the row keeps."""
    return tuple(
        Finding(**(kept | {"severity": Severity(kept["severity"])})) for kept in row.findings
    )


def identified_of(row: DecodingRow) -> tuple[Identified, ...]:
    """The formats that the image was tried as, the chosen one first."""
    return tuple(
        Identified(**(kept | {"orientation": Orientation(kept["orientation"])}))
        for kept in row.identified
    )


def load_ranges_of(row: DecodingRow) -> tuple[LoadRange, ...]:
    """The addresses that the tape loads."""
    return tuple(LoadRange(**kept) for kept in row.load_ranges)


def processor_of(row: DecodingRow) -> Guess | None:
    """The processor whose code the tape loads, if one is likely."""
    return Guess(**row.processor) if row.processor else None


def parts_of(row: DecodingRow) -> tuple[PartSummary, ...]:
    """The parts of the tape, in the order in which they were punched."""
    return tuple(
        PartSummary(**(kept | {"kind": PartKind(kept["kind"])})) for kept in row.parts or ()
    )


def blocks_of(row: DecodingRow) -> tuple[LoadedBlock, ...]:
    """Which block loads which addresses, in the order of the tape."""
    return tuple(LoadedBlock(**kept) for kept in row.blocks or ())


def facts_of(row: DecodingRow) -> tuple[tuple[str, str], ...]:
    """Names and values that belong to the format of the image alone."""
    return tuple((name, value) for name, value in row.facts or ())
