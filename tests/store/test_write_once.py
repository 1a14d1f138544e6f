import hashlib
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import Engine, select, text, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session
from sqlmodel import col

from server.settings import Settings
from server.store.engine import make_engine
from server.store.tables import ImageRow, Reading
from tests.store.rows import add_one_of_each, add_tape

REFUSED = [
    "UPDATE image SET frames = frames",
    "UPDATE image SET sha256 = sha256",
    "DELETE FROM image",
    "UPDATE event SET detail = 'nothing happened'",
    "DELETE FROM event",
    "UPDATE reading SET image_id = 2",
    "UPDATE reading SET file_name = 'b.bin'",
    "UPDATE reading SET read_on = NULL",
    "DELETE FROM reading",
    "UPDATE load_sheet_text SET note = 'never said'",
    "DELETE FROM load_sheet_text",
    "UPDATE punching SET frames = frames",
    "UPDATE punching SET image_id = 2",
    "DELETE FROM punching",
    "UPDATE read_back SET same = NOT same",
    "DELETE FROM read_back",
    "UPDATE photo_file SET whole = whole",
    "UPDATE photo_file SET sha256 = sha256",
]


@pytest.fixture
def filled(engine: Engine) -> Engine:
    with Session(engine) as session, session.begin():
        add_one_of_each(session)
    return engine


@pytest.mark.parametrize("statement", REFUSED)
def test_kept_row_refuses_change(filled: Engine, statement: str):
    with pytest.raises(IntegrityError, match="refuses this"), filled.begin() as connection:
        connection.execute(text(statement))


def test_kept_row_refuses_change_by_the_models_too(filled: Engine):
    with Session(filled) as session:
        image = session.scalars(select(ImageRow)).first()
        assert image is not None
        image.frames = b"other"

        with pytest.raises(IntegrityError, match="refuses this update"):
            session.flush()


def test_image_is_not_replaced_on_sqlite(sqlite_engine: Engine):
    with Session(sqlite_engine) as session, session.begin():
        add_one_of_each(session)

    with (
        pytest.raises(IntegrityError, match="refuses this delete"),
        sqlite_engine.begin() as connection,
    ):
        connection.execute(
            text(
                "INSERT OR REPLACE INTO image (id, sha256, size, levels, created_at, frames)"
                " SELECT id, sha256, 1, levels, created_at, x'00' FROM image"
            )
        )


@pytest.mark.postgres
@pytest.mark.parametrize("table", ["image", "reading", "event", "merged_reading", "merged_source"])
def test_kept_table_is_not_emptied_at_a_stroke(postgres_settings: Settings, table: str):
    engine = make_engine(postgres_settings)

    with pytest.raises(IntegrityError, match="refuses this truncate"), engine.begin() as connection:
        connection.execute(text(f"TRUNCATE {table} CASCADE"))
    engine.dispose()


def test_reading_may_be_given_its_tape_and_note(filled: Engine):
    with Session(filled) as session, session.begin():
        reading = session.scalars(select(Reading).order_by(col(Reading.id))).first()
        assert reading is not None
        reading.tape_id = add_tape(session, "2026.2", "Found later")
        reading.note = "The box was mislabelled."

    with Session(filled) as session:
        notes = session.scalars(select(col(Reading.note)).order_by(col(Reading.id))).all()
        assert notes == ["The box was mislabelled.", "", ""]


SOUND = b"\x0a\x0b\x0c"
NAME = hashlib.sha256(SOUND).hexdigest()


@pytest.fixture
def spoilt(engine: Engine) -> Engine:
    """A library whose one image holds other frames than those of its name."""
    with Session(engine) as session, session.begin():
        session.add(
            ImageRow(sha256=NAME, size=4, levels=8, created_at=datetime.now(UTC), frames=b"rust")
        )
    return engine


def put(engine: Engine, **values: Any) -> None:
    with engine.begin() as connection:
        connection.execute(update(ImageRow).values(**values))


def test_damaged_image_may_be_given_the_frames_of_its_name(spoilt: Engine):
    put(spoilt, frames=SOUND, size=len(SOUND))

    with Session(spoilt) as session:
        image = session.scalars(select(ImageRow)).one()
        assert (image.frames, image.size) == (SOUND, 3)


@pytest.mark.parametrize(
    "values",
    [
        {"frames": b"mould", "size": 5},
        {"frames": SOUND, "size": 4},
        {"frames": SOUND, "size": 3, "levels": 7},
        {"frames": SOUND, "size": 3, "id": 77},
        {"frames": b"mould", "size": 5, "sha256": hashlib.sha256(b"mould").hexdigest()},
        {"size": 3},
    ],
)
def test_damaged_image_refuses_every_other_change(spoilt: Engine, values: dict[str, Any]):
    with pytest.raises(IntegrityError, match="refuses this update"):
        put(spoilt, **values)


def test_mended_image_refuses_to_be_mended_again(spoilt: Engine):
    put(spoilt, frames=SOUND, size=len(SOUND))

    with pytest.raises(IntegrityError, match="refuses this update"):
        put(spoilt, frames=SOUND, size=len(SOUND))


def test_a_connection_that_is_not_ours_changes_no_image_on_sqlite(sqlite_engine: Engine):
    with Session(sqlite_engine) as session, session.begin():
        add_one_of_each(session)
    path = sqlite_engine.url.database or ""

    with (
        closing(sqlite3.connect(path)) as connection,
        pytest.raises(sqlite3.OperationalError, match="no such function"),
    ):
        connection.execute("UPDATE image SET frames = x'00'")
