"""The migration that turns what was written as the place of a tape into places."""

from sqlalchemy import Engine, select, text
from sqlalchemy.orm import Session
from sqlmodel import col

from server.store.migration import downgrade, migrate
from server.store.places import path_key
from server.store.tables import Place, Tape, Whereabouts
from tests.store.rows import add_tape

BEFORE = "condition_in_full"

WRITTEN = {
    "1979.1": "Loft cupboard, shelf 4, box 12",
    "1979.2": "loft  cupboard, Shelf 04",
    "1979.3": "Loft cupboard, shelf 4, box 2",
    "1979.4": "missing",
    "1979.5": "",
    "1979.6": " , ",
}


def migrated(engine: Engine) -> None:
    """Tapes with these texts, as the release before left them, brought to this one."""
    with Session(engine) as session, session.begin():
        for number in WRITTEN:
            add_tape(session, number, "Tides")
    downgrade(engine, BEFORE)
    with engine.begin() as connection:
        for number, place in WRITTEN.items():
            connection.execute(
                text("UPDATE tape SET place = :place WHERE accession_number = :number"),
                {"place": place, "number": number},
            )
    migrate(engine)


def test_each_text_becomes_a_place_in_what_it_stands_in(engine: Engine) -> None:
    migrated(engine)

    with Session(engine) as session:
        places = session.scalars(select(Place).order_by(col(Place.path_key))).all()
        assert [(each.path, each.kind) for each in places] == [
            ("Loft cupboard", "cupboard"),
            ("Loft cupboard, shelf 4", "shelf"),
            ("Loft cupboard, shelf 4, box 2", "box"),
            ("Loft cupboard, shelf 4, box 12", "box"),
            ("missing (a place)", "other"),
        ]
        assert [each.path_key for each in places] == [path_key(each.path) for each in places]
        by_id = {each.id: each for each in places}
        assert [by_id[each.parent_id].path for each in places if each.parent_id] == [
            "Loft cupboard", "Loft cupboard, shelf 4", "Loft cupboard, shelf 4"
        ]  # fmt: skip


def test_each_tape_lies_and_belongs_where_it_was_written(engine: Engine) -> None:
    migrated(engine)

    with Session(engine) as session:
        rows = session.execute(
            select(
                col(Tape.accession_number),
                col(Tape.place),
                col(Place.path),
                col(Whereabouts.state),
            )
            .outerjoin(Whereabouts, col(Whereabouts.tape_id) == col(Tape.id))
            .outerjoin(
                Place,
                (col(Place.id) == col(Whereabouts.place_id))
                & (col(Place.id) == col(Whereabouts.usual_id)),
            )
            .order_by(col(Tape.accession_key))
        )
        told = [tuple(row) for row in rows]
    assert told == [
        ("1979.1", *["Loft cupboard, shelf 4, box 12"] * 2, "placed"),
        ("1979.2", *["Loft cupboard, shelf 4"] * 2, "placed"),
        ("1979.3", *["Loft cupboard, shelf 4, box 2"] * 2, "placed"),
        ("1979.4", *["missing (a place)"] * 2, "placed"),
        ("1979.5", "", None, None),
        ("1979.6", " , ", None, None),
    ]
