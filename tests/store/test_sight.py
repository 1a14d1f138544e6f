"""What is closed is left out of every question, however it is written."""

from collections.abc import Callable, Iterator

import pytest
from sqlalchemy import Engine, exists, func, literal, or_, select, union_all
from sqlalchemy.orm import Session, aliased
from sqlmodel import col

from server.settings import Settings
from server.store import sight
from server.store.engine import make_engine, reading
from server.store.images import ImageRow, Reading
from server.store.programs import Program, Version
from server.store.remembered import remembered
from server.store.rights import ClosedImage
from server.store.tables import METADATA
from server.store.tapes import Tape
from tests.store import rows

OPEN = ("public",)
MEMBERS = ("public", "members")


@pytest.fixture
def shelf(engine: Engine) -> Engine:
    """An open tape and a restricted one, each with an image, and a program of the latter."""
    with Session(engine) as session, session.begin():
        for number, access in ((1, "public"), (2, "restricted")):
            program = rows.add_program(session, f"Program {number}", access=access)
            tape = rows.add_tape(
                session, f"2026.{number}", f"Tape {number}", program_id=program, access=access
            )
            image = rows.add_image(session, f"10 PRINT {number}\n")
            rows.add_reading(session, image, tape)
    return engine


@pytest.fixture
def visitor(shelf: Engine) -> Iterator[Session]:
    with Session(sight.limited(shelf, OPEN)) as session:
        yield session


def test_select_of_rows_columns_and_counts_leaves_out_what_is_closed(visitor: Session):
    assert [tape.title for tape in visitor.scalars(select(Tape))] == ["Tape 1"]
    assert visitor.scalars(select(col(Program.title))).all() == ["Program 1"]
    assert visitor.scalar(select(func.count()).select_from(Tape)) == 1
    assert visitor.scalar(select(func.max(col(ImageRow.id)))) == 1
    assert visitor.get(Tape, 1) is not None
    assert visitor.get(Tape, 2) is None


def test_statement_on_the_bare_connection_leaves_it_out_too(visitor: Session):
    assert visitor.connection().scalars(select(col(Tape.id))).all() == [1]


def test_joined_and_named_anew_it_is_left_out(visitor: Session):
    other = aliased(Tape)
    joined = select(col(Tape.title), col(Reading.id)).join(
        Reading, col(Reading.tape_id) == col(Tape.id)
    )

    assert visitor.execute(joined).all() == [("Tape 1", 1)]
    assert visitor.scalars(select(col(other.title))).all() == ["Tape 1"]


def test_parts_of_a_question_leave_it_out(visitor: Session):
    closed = col(Tape.access) == "restricted"
    both = union_all(select(col(Tape.id)), select(col(Program.id)))

    assert visitor.scalar(select(literal(1)).where(exists().where(closed))) is None
    assert visitor.scalar(select(literal(1)).where(literal(2).in_(select(col(Tape.id))))) is None
    assert visitor.scalars(both).all() == [1, 1]
    counted = select(func.count()).select_from(both.subquery())
    assert visitor.scalar(counted) == 2


def test_question_within_a_question_leaves_it_out(visitor: Session):
    one, other = aliased(Tape), aliased(Reading)
    within = select(func.count()).select_from(other).where(col(other.tape_id) == col(one.id))
    counted = select(col(one.title), within.correlate(one).scalar_subquery())
    named = select(col(Tape.id).label("id")).cte()
    either = select(col(Tape.id)).where(or_(col(Tape.id) == 2, exists().where(col(one.id) == 2)))
    ordered = select(literal(1)).select_from(Tape).order_by(col(Tape.title)).with_for_update()

    assert [tuple(row) for row in visitor.execute(counted)] == [("Tape 1", 1)]
    assert visitor.scalars(select(named.c.id)).all() == [1]
    assert visitor.scalars(either).all() == []
    assert visitor.scalars(ordered).all() == [1]
    assert visitor.scalars(select(func.lower(col(Program.title)))).all() == ["program 1"]


def test_tape_of_a_closed_program_is_shown_without_it(shelf: Engine):
    with Session(shelf) as session, session.begin():
        session.get_one(Tape, 1).program_id = 2
    asked = select(col(Tape.title), col(Program.title)).outerjoin(
        Program, col(Program.id) == col(Tape.program_id)
    )
    with Session(sight.limited(shelf, OPEN)) as session:
        row = session.execute(asked).one()
    assert row[0] == "Tape 1"
    assert not row[1]


def test_question_to_a_table_that_passes_its_class_by_is_not_answered(visitor: Session):
    with pytest.raises(RuntimeError, match="without their classes"):
        visitor.execute(select(METADATA.tables["tape"].c.title))


def test_sight_can_be_lifted_for_a_while(visitor: Session):
    with sight.lifted(visitor):
        assert len(visitor.scalars(select(col(Tape.id))).all()) == 2
        with sight.lifted(visitor):
            pass
        assert sight.levels_of(visitor) is None

    assert len(visitor.scalars(select(col(Tape.id))).all()) == 1
    assert sight.levels_of(visitor) == OPEN


def test_what_is_remembered_for_one_is_not_told_to_another_who_sees_less(shelf: Engine):
    def count(levels: tuple[str, ...] | None) -> int:
        with Session(reading(sight.limited(shelf, levels))) as session:
            counted = select(func.count()).select_from(Tape)
            return remembered(session, "tapes", lambda: session.scalar(counted) or 0)

    assert [count(None), count(OPEN), count(MEMBERS), count(None)] == [2, 1, 1, 2]


def test_nothing_is_added_to_a_question_while_nothing_is_closed(shelf: Engine):
    with Session(shelf) as session, session.begin():
        for table in (Tape, Program):
            session.get_one(table, 2).access = "members"
    asked: list[str] = []
    with Session(sight.limited(shelf, MEMBERS)) as session:
        statement = select(col(Tape.id))
        asked.append(str(session.connection().execute(statement).context.compiled))
    assert "access" not in asked[0]


def test_every_table_from_which_references_lead_to_a_tape_is_closed_with_it():
    found = {"tape", "program", "image", "record_text", "event"}
    while (
        more := {
            table.name
            for table in METADATA.tables.values()
            if any(key.column.table.name in found for key in table.foreign_keys)
        }
        - found
    ):
        found |= more

    assert found > {"reading", "decoding", "kinship", "condition_report", "whereabouts", "photo"}
    assert sight._criteria(OPEN).keys() == found


def closed_images(engine: Engine) -> dict[int, str]:
    with Session(engine) as session:
        found = session.execute(select(col(ClosedImage.image_id), col(ClosedImage.access)))
        return {row.image_id: row.access for row in found}


def test_image_is_as_open_as_the_most_open_of_its_tapes_and_programs(shelf: Engine):
    assert closed_images(shelf) == {2: "restricted"}
    steps: tuple[tuple[Callable[[Session], object], dict[int, str]], ...] = (
        (lambda session: rows.add_reading(session, 2, 1), {}),
        (lambda session: change(session, Tape, 1, "members"), {1: "members", 2: "members"}),
        (lambda session: add_version(session, 2, 1), {1: "members"}),
        (lambda session: change(session, Program, 1, "restricted"),
         {1: "members", 2: "members"}),
        (lambda session: change(session, Tape, 1, "restricted"),
         {1: "restricted", 2: "restricted"}),
        (lambda session: change(session, Tape, 2, "public"), {1: "restricted"}),
        (lambda session: move_reading(session, 3, 2), {1: "restricted"}),
        (lambda session: change(session, Program, 1, "public"), {1: "restricted"}),
        (lambda session: change(session, Tape, 2, "restricted"), {1: "restricted"}),
        (lambda session: session.delete(session.get_one(Version, 1)),
         {1: "restricted", 2: "restricted"}),
    )  # fmt: skip
    for number, (step, expected) in enumerate(steps):
        with Session(shelf) as session, session.begin():
            step(session)
        assert closed_images(shelf) == expected, number


def change(session: Session, table: type[Tape] | type[Program], row: int, access: str) -> None:
    session.get_one(table, row).access = access


def add_version(session: Session, image: int, program: int) -> None:
    session.add(Version(image_id=image, program_id=program, label="one", created_at=rows.NOW))


def move_reading(session: Session, reading_id: int, tape: int) -> None:
    session.get_one(Reading, reading_id).tape_id = tape


def test_index_of_what_is_closed_answers_whether_anything_is(sqlite_settings: Settings):
    engine = make_engine(sqlite_settings)
    with engine.connect() as connection:
        asked = f"EXPLAIN QUERY PLAN {sight._anything_closed(OPEN)}"
        plan = [row.detail for row in connection.exec_driver_sql(asked)]
    engine.dispose()

    steps = [step for step in plan if step.startswith(("SCAN", "SEARCH"))]
    assert len(steps) == 2
    assert all("_closed" in step for step in steps)
