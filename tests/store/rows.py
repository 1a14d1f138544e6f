"""Sample rows for tests of the store and of what asks it, each with what the test cares about."""

import hashlib
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session
from sqlmodel import col

from server.store.listings import pack_listing
from server.store.loaded import index_frames, index_memory
from server.store.search import RANKS, index_listing, index_record
from server.store.tables import (
    ClosedImage,
    ConditionReport,
    Deaccession,
    Decoding,
    Event,
    FamilyDecision,
    Fingerprint,
    ImageRow,
    Kinship,
    LoadSheet,
    LoadSheetText,
    MergedReading,
    MergedSource,
    NormalFormRow,
    Photo,
    PhotoFile,
    Program,
    ProgramLink,
    Punching,
    ReadBack,
    Reading,
    RunPermission,
    Tape,
    Term,
    Verification,
    Version,
    WorkItem,
)
from server.tape.listing import Line, Listing
from tests.store.people_rows import add_person
from tests.store.place_rows import add_loan, add_places

HEX = ":0401000001020304F1\r\n:00000001FF\r\n"
"""An Intel hex tape that loads four bytes at 0100."""

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def listing_of(text: str) -> Listing:
    """A listing of the lines of `text`, as if each was punched with a carriage return too."""
    lines, frame = [], 80
    for line in text.splitlines():
        lines.append(Line(line, frame, len(line) + 2))
        frame += len(line) + 2
    return Listing(tuple(lines))


def add_image(session: Session, text: str, **facts: Any) -> int:
    """An image, the decoding that gives `text`, and its search row; `facts` of the decoding."""
    frames = text.encode() or b"\0"
    image = ImageRow(
        sha256=hashlib.sha256(frames).hexdigest(),
        size=len(frames),
        levels=8,
        created_at=NOW,
        frames=frames,
    )
    session.add(image)
    session.flush()
    assert image.id is not None
    session.add(decoding_of(image.id, text, **facts))
    index_listing(session, image.id, text)
    index_frames(session, [(image.id, frames)])
    session.flush()
    return image.id


def decoding_of(image_id: int, text: str, **facts: Any) -> Decoding:
    """What decoder release 1 made of an image, unless `facts` say otherwise."""
    listing = listing_of(text)
    usual: dict[str, Any] = {
        "image_id": image_id,
        "decoder_release": "1",
        "decoded_at": NOW,
        "format": "text",
        "orientation": "as-read",
        "leader_frames": 80,
        "trailer_frames": 80,
        "data_start": 80,
        "data_stop": 80 + len(text),
        "check_status": "no-check",
        "content_sha256": hashlib.sha256(text.encode()).hexdigest(),
        "loader": "language interpreter",
        "line_count": len(listing),
        "listing": pack_listing(listing),
        "content": text.encode(),
    }
    return Decoding(**(usual | facts))


def add_tape(session: Session, number: str, title: str, **facts: Any) -> int:
    """A tape, searchable."""
    usual: dict[str, Any] = {
        "accession_number": number,
        "title": title,
        "condition": "not examined",
        "created_at": NOW,
        "updated_at": NOW,
    }
    tape = Tape(**(usual | facts))
    session.add(tape)
    session.flush()
    assert tape.id is not None
    _index(session, "tape", tape.id, tape)
    return tape.id


def add_program(session: Session, title: str, **facts: Any) -> int:
    """A program, searchable."""
    usual: dict[str, Any] = {"title": title, "created_at": NOW, "updated_at": NOW}
    program = Program(**(usual | facts))
    session.add(program)
    session.flush()
    assert program.id is not None
    _index(session, "program", program.id, program)
    return program.id


def _index(session: Session, kind: str, object_id: int, row: Tape | Program) -> None:
    fields = {field: getattr(row, field, "") for of, field in RANKS if of == kind}
    index_record(session, kind, object_id, fields)


def add_reading(session: Session, image_id: int, tape_id: int | None) -> int:
    """A reading of an image, from a tape or from nobody knows which."""
    reading = Reading(image_id=image_id, tape_id=tape_id, file_name="a.bin", accepted_at=NOW)
    session.add(reading)
    session.flush()
    assert reading.id is not None
    return reading.id


def add_merged(session: Session, reading_id: int, source_ids: list[int]) -> int:
    """A merged reading, taken in as one reading and made from others."""
    merged = MergedReading(
        reading_id=reading_id,
        release="1",
        agreement="not",
        sentence="The readings differ.",
        made_at=NOW,
        disputes=b"",
        confidence=b"d",
    )
    session.add(merged)
    session.flush()
    assert merged.id is not None
    session.add_all(
        MergedSource(
            merged_id=merged.id,
            place=place,
            reading_id=source,
            orientation="as-read",
            start=0,
            stop=1,
            flipped=0,
            dropped=0,
            doubled=0,
            added=0,
            score=1.0,
            is_equal=True,
        )
        for place, source in enumerate(source_ids)
    )
    session.flush()
    return merged.id


def add_punching(session: Session, image_id: int, **facts: Any) -> int:
    """A punching of one reel, just prepared."""
    usual: dict[str, Any] = {
        "image_id": image_id,
        "format": "text",
        "sha256": "0" * 64,
        "size": 3,
        "levels": 8,
        "data_start": 1,
        "data_stop": 2,
        "status": "prepared",
        "prepared_at": NOW,
        "updated_at": NOW,
        "frames": b"\0A\0",
    }
    punching = Punching(**(usual | facts))
    session.add(punching)
    session.flush()
    assert punching.id is not None
    return punching.id


def add_read_back(session: Session, punching_id: int, **facts: Any) -> None:
    """A reading of a punched tape that differs."""
    usual: dict[str, Any] = {
        "punching_id": punching_id,
        "same": False,
        "sha256": "0" * 64,
        "size": 3,
        "compared_at": NOW,
        "frames": b"\0B\0",
    }
    session.add(ReadBack(**(usual | facts)))
    session.flush()


def _photo_file(session: Session) -> int:
    """A picture of one point."""
    file = PhotoFile(
        sha256="0" * 64, width=1, height=1, small_width=1, small_height=1, whole=b"w", small=b"s"
    )
    session.add(file)
    session.flush()
    assert file.id is not None
    return file.id


def add_one_of_each(session: Session) -> None:
    """At least one row in every table."""
    person = add_person(session)
    assert person.id is not None
    one, two = (add_image(session, f"10 PRINT {n}\n20 END\n") for n in (1, 2))
    names = session.scalars(select(col(ImageRow.sha256)).order_by(col(ImageRow.id))).all()
    program = add_program(session, "Counting", description="Counts.")
    older = add_program(session, "Tallying")
    tape = add_tape(session, "2026.1", "Counting", program_id=program, levels=8)
    readings = [add_reading(session, one, tape) for _ in range(3)]
    add_merged(session, readings[2], readings[:2])
    add_read_back(session, add_punching(session, one))
    loads = [{"start": 0x100, "end": 0x103}]
    three = add_image(session, HEX, format="intel-hex", load_ranges=loads)
    index_memory(session, three, {0x100: b"\1\2\3\4"})
    version = Version(program_id=program, image_id=one, label="first", created_at=NOW)
    session.add(version)
    index_record(session, "program", program, {"details": "version first"})
    session.flush()
    sheets = (
        LoadSheet(version_id=version.id, updated_at=NOW),
        LoadSheet(image_id=two, updated_at=NOW),
    )
    session.add_all(sheets)
    session.flush()
    add_places(session, tape, NOW)
    add_loan(session, tape, person.id, NOW)
    assert sheets[0].id is not None
    session.add_all(
        (
            LoadSheetText(
                sheet_id=sheets[0].id,
                revision=2,
                texts={"steps": "Press RUN"},
                made_at=NOW,
                made_by_id=person.id,
            ),
            Kinship(
                image_a_id=one,
                image_b_id=two,
                kind="near",
                similarity=0.5,
                distance=1,
                added=0,
                removed=0,
                changed=1,
            ),
            NormalFormRow(image_id=one, release=1, textual=True, packed=b"p"),
            FamilyDecision(
                kind="together",
                sha256=names[0],
                other_sha256=names[1],
                made_at=NOW,
                made_by_id=person.id,
            ),
            ProgramLink(program_id=program, kind="continues", other_id=older, made_at=NOW),
            Term(
                vocabulary="language",
                word="Ourtran",
                folded="ourtran",
                created_at=NOW,
                updated_at=NOW,
            ),
            RunPermission(
                tape_id=tape, granted_at=NOW, valid_until=NOW, reason="The only copy, by hand."
            ),
            Photo(file_id=_photo_file(session), tape_id=tape, shows="A tear.", added_at=NOW),
            ClosedImage(image_id=two, access="members"),
            Deaccession(
                tape_id=tape,
                decided_on=date(2026, 11, 20),
                reason="duplicate",
                authority="Committee",
                method="gift",
                recipient="Another club",
                note="",
                made_at=NOW,
                made_by_id=person.id,
            ),
            WorkItem(person_id=person.id, queue="unread", tape_id=tape, put_on_at=NOW),
            WorkItem(person_id=person.id, queue="unidentified", image_id=one, put_on_at=NOW),
            WorkItem(
                person_id=person.id,
                queue="kin-to-judge",
                image_id=one,
                other_id=two,
                put_on_at=NOW,
            ),
            Fingerprint(hash=-(2**63), image_id=one),
            Fingerprint(hash=2**63 - 1, image_id=one),
            Verification(
                image_id=one,
                kind="proof-read",
                evidence="Read aloud.",
                made_at=NOW,
                made_by_id=person.id,
            ),
            ConditionReport(
                tape_id=tape,
                checked_on=date(2026, 11, 25),
                checked_by_id=person.id,
                state="good",
                defects=[{"kind": "tear", "severity": "slight", "position_mm": 254.0, "note": ""}],
                created_at=NOW,
                updated_at=NOW,
            ),
            Event(
                type="ingestion",
                occurred_at=NOW,
                object_kind="image",
                object_key="0" * 64,
                person_id=person.id,
                agent="Ada",
                facts={"file": "a\u0000.bin"},
            ),
        )
    )
    session.flush()
