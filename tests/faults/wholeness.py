"""What a whole library is: nothing half written, and nothing that points to nothing."""

import hashlib
from collections import Counter

from sqlalchemy import Engine, select, text
from sqlalchemy.orm import Session
from sqlmodel import col

from server.store.engine import reading
from server.store.listings import unpack_texts
from server.store.search import fold, holds
from server.store.tables import Decoding, Event, Fingerprint, ImageRow, ListingText, Reading
from server.store.texts import LISTINGS

INGESTED = ("capture", "ingestion", "message digest calculation", "format identification")


def images(engine: Engine) -> Counter[str]:
    """How many readings each image has, by the image's name."""
    with Session(reading(engine)) as session:
        rows = session.execute(
            select(col(ImageRow.sha256), col(Reading.id)).outerjoin(
                Reading, col(Reading.image_id) == col(ImageRow.id)
            )
        )
        return Counter(sha256 for sha256, reading_id in rows if reading_id is not None)


def faults(engine: Engine) -> list[str]:
    """All that is not whole, in words."""
    found = _sqlite_faults(engine) if engine.dialect.name == "sqlite" else []
    with Session(reading(engine)) as session:
        for image in session.scalars(select(ImageRow)):
            found += [f"{image.sha256[:8]}: {fault}" for fault in _image_faults(session, image)]
        kept = set(session.scalars(select(col(ImageRow.sha256))))
        told = session.scalars(
            select(col(Event.object_key)).where(col(Event.object_kind) == "image")
        )
        found += [f"event about {key[:8]}, which is not there" for key in set(told) - kept]
    return found


def _sqlite_faults(engine: Engine) -> list[str]:
    with engine.begin() as connection:
        found = [
            f"integrity: {row[0]}" for row in connection.execute(text("PRAGMA integrity_check"))
        ]
        found.remove("integrity: ok")
        found += [
            f"reference: {row}" for row in connection.execute(text("PRAGMA foreign_key_check"))
        ]
        for index in ("listing_search", "record_search"):
            check = f"INSERT INTO {index}({index}, rank) VALUES ('integrity-check', 1)"
            connection.exec_driver_sql(check)
    return found


def _image_faults(session: Session, image: ImageRow) -> list[str]:
    found = []
    if hashlib.sha256(image.frames).hexdigest() != image.sha256 or len(image.frames) != image.size:
        found.append("its frames are not its own")
    if not session.scalars(select(Reading).where(col(Reading.image_id) == image.id)).all():
        found.append("no reading")
    if not session.scalars(select(Fingerprint).where(col(Fingerprint.image_id) == image.id)).all():
        found.append("no fingerprint")
    types = set(
        session.scalars(select(col(Event.type)).where(col(Event.object_key) == image.sha256))
    )
    found += [f"no event of {type_}" for type_ in INGESTED if type_ not in types]
    decodings = session.scalars(select(Decoding).where(col(Decoding.image_id) == image.id)).all()
    if len(decodings) != 1:
        return [*found, f"{len(decodings)} decodings"]
    return found + _search_faults(session, image, list(unpack_texts(decodings[0].listing)))


def _search_faults(session: Session, image: ImageRow, lines: list[str]) -> list[str]:
    body = session.scalar(
        select(col(ListingText.body)).where(col(ListingText.image_id) == image.id)
    )
    if body is None or body.splitlines() != [fold(line) for line in lines]:
        return ["its search text is not its listing"]
    (mark,) = (line for line in lines if " REM MARK " in line)
    if session.scalars(select(LISTINGS.key).where(holds(session, LISTINGS, mark))).all() != [
        image.id
    ]:
        return ["search does not find it"]
    return []
