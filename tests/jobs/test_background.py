import io
import logging
import sys
import time
from collections.abc import Iterator

import pytest
from sqlalchemy import Engine, event

from server.catalog.errors import Conflict, NotAllowed, NotSignedIn
from server.catalog.work import COMMAND, VISITOR, Actor, Role
from server.jobs import access, background, kin_pass, passes
from server.jobs.background import Background, work_database
from server.jobs.passes import Batch
from server.jobs.state import Pass, Standing
from server.settings import Settings
from tests.jobs.test_kin_pass import fill, state
from tests.jobs.waiting import until_over

ARCHIVIST = Actor(None, "Aksel", Role.ARCHIVIST)


@pytest.fixture(autouse=True)
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kin_pass, "BATCH", 5)


@pytest.fixture
def works(settings: Settings) -> Iterator[Background]:
    with Background(settings) as works:
        yield works


def slowly(engine: Engine, after: int, up_to: int) -> Batch:
    time.sleep(0.3)
    return kin_pass.remake(engine, after, up_to)


def test_it_starts_though_the_stream_of_an_earlier_start_is_closed(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
):
    logging.getLogger("dbos").handlers.clear()
    stream = io.TextIOWrapper(io.BytesIO())
    monkeypatch.setattr(sys, "stderr", stream)
    with Background(settings):
        pass
    stream.close()
    monkeypatch.undo()

    with Background(settings) as works:
        assert works.last_pass(Pass.KIN) is None


def test_a_pass_runs_to_its_end_and_says_what_came_of_it(engine: Engine, settings: Settings):
    fill(engine)
    before = state(engine)
    with Background(settings) as works:
        assert works.last_pass(Pass.KIN) is None
        started = access.start(works, ARCHIVIST, Pass.KIN)
        assert started.standing in {Standing.WAITING, Standing.RUNNING}
        assert (started.by, started.ended, started.result) == ("Aksel", None, None)
        done = until_over(works, Pass.KIN)
    assert done.standing is Standing.DONE
    assert done.result == {"images": 13, "pairs": 12}
    assert (done.progress.done, done.progress.of, done.fault) == (39, 39, "")
    assert done.ended is not None
    assert done.started <= done.ended
    assert state(engine) == before
    # What is known of it outlives the process.
    with Background(settings) as works:
        assert works.last_pass(Pass.KIN) == done
        assert works.take_over() == 0


def test_a_second_start_joins_the_pass_that_is_not_done(
    engine: Engine, works: Background, monkeypatch: pytest.MonkeyPatch
):
    fill(engine, families=2)
    monkeypatch.setitem(kin_pass.ROUNDS, "remake", slowly)
    first = works.start_pass(Pass.KIN, "one")
    assert works.start_pass(Pass.KIN, "another").started == first.started
    assert until_over(works, Pass.KIN).by == "one"


def test_a_pass_that_is_stopped_ends_after_its_step(
    engine: Engine, works: Background, monkeypatch: pytest.MonkeyPatch
):
    fill(engine)
    monkeypatch.setitem(kin_pass.ROUNDS, "remake", slowly)
    works.start_pass(Pass.KIN, "one")
    for _ in range(200):
        running = works.last_pass(Pass.KIN)
        assert running is not None
        if running.progress.done:
            break
        time.sleep(0.02)
    stopped = access.stop(works, ARCHIVIST, Pass.KIN)
    assert stopped is not None
    assert stopped.standing is Standing.STOPPED
    assert stopped.progress.done < 39
    assert access.last(works, ARCHIVIST, Pass.KIN) == stopped
    assert works.start_pass(Pass.KIN, "one").standing in {Standing.WAITING, Standing.RUNNING}
    assert until_over(works, Pass.KIN).standing is Standing.DONE


def test_a_step_that_fails_for_a_moment_is_tried_again(engine: Engine, works: Background):
    fill(engine, families=1)
    failures = 2

    @event.listens_for(works._engine, "begin")
    def fail(*_: object) -> None:
        nonlocal failures
        if failures:
            failures -= 1
            raise OSError("the disk was away for a moment")

    works.start_pass(Pass.KIN, "one")
    assert until_over(works, Pass.KIN).standing is Standing.DONE
    assert failures == 0


def test_a_pass_that_cannot_go_on_says_why(
    engine: Engine, works: Background, monkeypatch: pytest.MonkeyPatch
):
    fill(engine, families=1)

    def broken(*_: object) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr(passes, "plan", broken)
    works.start_pass(Pass.KIN, "one")
    failed = until_over(works, Pass.KIN)
    assert failed.standing is Standing.FAILED
    assert "the disk is full" in failed.fault


def test_only_archivists_start_stop_and_see_it() -> None:
    volunteer = Actor(None, "Maud", Role.VOLUNTEER)
    for act in (access.start, access.stop, access.last):
        with pytest.raises(NotSignedIn):
            act(None, VISITOR, Pass.KIN)
        with pytest.raises(NotAllowed):
            act(None, volunteer, Pass.KIN)
    assert access.last(None, ARCHIVIST, Pass.KIN) is None
    for act in (access.start, access.stop):
        with pytest.raises(Conflict, match="switched off"):
            act(None, COMMAND, Pass.KIN)


def test_the_engine_has_a_file_beside_the_library_or_a_schema_in_it() -> None:
    beside = Settings(database_url="sqlite:///var/club/feedhole.db")
    assert work_database(beside) == "sqlite:///var/club/feedhole-work.db"
    inside = Settings(database_url="postgresql://keeper@db/library")
    assert work_database(inside) == "postgresql+psycopg://keeper@db/library"
    assert background.SCHEMA == "feedhole_work"
