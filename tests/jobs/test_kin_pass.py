from random import Random
from typing import Any

import pytest
from sqlalchemy import Engine, delete, select, update
from sqlalchemy.orm import Session

from server.jobs import kin_pass
from server.jobs.kin_pass import act
from server.jobs.passes import Batch, Plan, Progress, plan, whole
from server.store.forms import NormalFormRow
from server.store.kin import Fingerprint, Kinship
from server.store.tables import METADATA
from tests import factories
from tests.bench.programs import line_added, program, reworked


def fill(engine: Engine, families: int = 4, copies: int = 3) -> None:
    """Several families of programs, and a blank tape."""
    random = Random(1)
    with factories.acting(engine) as work:
        factories.upload(work, bytes(100))
        for _ in range(families):
            base = program(random, 20)
            for _ in range(copies):
                factories.upload(work, factories.text_tape(*base))
                base = reworked(random, line_added(random, base))


def state(engine: Engine) -> dict[str, list[tuple[Any, ...]]]:
    """All that a pass makes anew."""
    with Session(engine) as session:
        return {
            name: sorted(tuple(row) for row in session.execute(select(METADATA.tables[name])))
            for name in ("fingerprint", "kinship", "normal_form")
        }


def run(engine: Engine) -> list[Progress]:
    told: list[Progress] = []
    told.append(
        whole(kin_pass.ROUNDS, plan(engine), lambda *given: act(engine, *given), told.append)
    )
    return told


@pytest.fixture(autouse=True)
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kin_pass, "BATCH", 5)


def test_it_finds_again_what_was_found_as_images_came_in(engine: Engine):
    fill(engine)
    before = state(engine)
    told = run(engine)
    assert state(engine) == before
    assert told[0] == Progress(5, 39, 0)
    assert [each.done for each in told] == sorted(each.done for each in told)
    assert (told[-1].done, told[-1].share) == (39, 1.0)
    assert told[-1].found == 2 * len(before["kinship"]) == 24


def test_it_mends_what_an_older_release_left_or_never_made(engine: Engine):
    fill(engine)
    before = state(engine)
    with Session(engine) as session, session.begin():
        session.execute(delete(Kinship))
        session.execute(delete(Fingerprint))
        session.execute(update(NormalFormRow).values(release=0, packed=b"of another form"))
    run(engine)
    assert state(engine) == before


def test_a_step_done_twice_comes_to_the_same(engine: Engine):
    fill(engine)
    before = state(engine)
    planned = plan(engine)
    for name in kin_pass.ROUNDS:
        after = 0
        while after < planned.up_to:
            once, twice = (act(engine, name, after, planned.up_to) for _ in range(2))
            assert once == twice
            after = once["last"]
    assert state(engine) == before


def test_images_that_come_in_meanwhile_are_left_to_their_own_upload(engine: Engine):
    fill(engine)
    planned = plan(engine)
    with factories.acting(engine) as work:
        factories.upload(work, factories.text_tape(*program(Random(77), 20)))
    before = state(engine)
    done = whole(kin_pass.ROUNDS, planned, lambda *given: act(engine, *given), lambda _: None)
    assert done.done == 3 * planned.images
    assert state(engine) == before


def test_an_empty_library_is_done_at_once(engine: Engine):
    assert plan(engine) == Plan(0, 0)
    assert run(engine) == [Progress(0, 0, 0)]
    assert Progress(0, 0, 0).share == 1.0
    assert kin_pass.remake(engine, 0, 7) == Batch(0, 7, 0)
    assert kin_pass.pairs(engine) == 0
