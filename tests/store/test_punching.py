import pytest
from sqlalchemy import Engine, inspect, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.store.tables import Punching, ReadBack
from tests.store.rows import add_image, add_punching, add_read_back, add_reading, add_tape


@pytest.mark.parametrize(
    "facts",
    [
        {"levels": 9},
        {"reel": 3, "reels": 2},
        {"reel": 0},
        {"data_stop": 4},
        {"status": "read back: same"},
        {"first_id": 99},
    ],
)
def test_a_punching_that_cannot_be_is_refused(engine: Engine, facts):
    with Session(engine) as session:
        image = add_image(session, "10 END\n")
        with pytest.raises(IntegrityError):
            add_punching(session, image, **facts)


def test_one_tape_comes_of_one_punching(engine: Engine):
    with Session(engine) as session:
        image, tape = add_image(session, "10 END\n"), add_tape(session, "2026.1", "End")
        add_punching(session, image, status="read back: same", tape_id=tape)
        with pytest.raises(IntegrityError):
            add_punching(session, image, status="read back: same", tape_id=tape)


def test_a_reading_is_kept_either_as_one_of_a_tape_or_with_its_frames(engine: Engine):
    with Session(engine) as session:
        punching = add_punching(session, add_image(session, "10 END\n"))
        reading = add_reading(session, 1, None)
        session.commit()
        for facts in ({"reading_id": reading}, {"frames": None}):
            with pytest.raises(IntegrityError):
                add_read_back(session, punching, **facts)
            session.rollback()
        add_read_back(session, punching, reading_id=reading, frames=None, same=True)


def test_lists_do_not_drag_frames_along(sqlite_engine: Engine):
    with Session(sqlite_engine) as session, session.begin():
        add_read_back(session, add_punching(session, add_image(session, "10 END\n")))
    with Session(sqlite_engine) as session:
        punching = session.scalars(select(Punching)).one()
        read_back = session.scalars(select(ReadBack)).one()

        assert "frames" in inspect(punching).unloaded & inspect(read_back).unloaded
        assert (punching.frames, read_back.frames) == (b"\0A\0", b"\0B\0")
