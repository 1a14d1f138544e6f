"""kill -9 at any statement while a punched tape is accessioned: all of it is there, or nothing."""

from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from server.catalog import punching, read_backs
from server.catalog.punching_values import Status
from server.catalog.work import unit_of_work
from server.settings import Settings
from server.store.engine import reading
from server.store.tables import (
    Event,
    ImageRow,
    Punching,
    ReadBack,
    Reading,
    RecordText,
    Tape,
    Verification,
)
from tests import punched
from tests.faults.dying import deaths
from tests.punched import SOMEBODY

KEPT = (Event, ImageRow, Punching, ReadBack, Reading, RecordText, Tape, Verification)
MOST_STATEMENTS = 300


def counts(engine: Engine) -> list[int]:
    with Session(reading(engine)) as session:
        return [session.scalar(select(func.count()).select_from(each)) or 0 for each in KEPT]


def settle(engine: Engine, found: read_backs.Compared) -> None:
    with unit_of_work(engine, SOMEBODY) as work:
        read_backs.settle(work, found)


def test_a_read_back_killed_at_any_statement_leaves_the_punching_as_it_was(
    engine: Engine, settings: Settings
):
    made = punched.punched(engine, punched.master(engine), leader_frames=33)
    found = punched.compared(engine, made.id, punched.frames(engine, made.id))
    before, fatal = counts(engine), 0

    for fatal in deaths(engine, settings, lambda own: settle(own, found), MOST_STATEMENTS):
        with unit_of_work(engine, SOMEBODY, writes=False) as work:
            assert punching.get(work, made.id) == made, f"killed at statement {fatal}"
        assert counts(engine) == before, f"killed at statement {fatal}"

    with unit_of_work(engine, SOMEBODY, writes=False) as work:
        done = punching.get(work, made.id)
    after = dict(zip(KEPT, counts(engine), strict=True))
    assert (done.status, done.tape is not None) == (Status.SAME, True)
    assert (after[Tape], after[ReadBack], after[ImageRow]) == (1, 1, 2)
    assert fatal > 20
