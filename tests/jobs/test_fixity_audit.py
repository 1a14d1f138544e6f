import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from threading import Event as Signal

import pytest
from sqlalchemy import Engine
from sqlalchemy.exc import OperationalError
from starlette.testclient import TestClient

from server.app import create_app
from server.catalog import audits, fixity
from server.catalog.audits import Checked
from server.catalog.work import COMMAND, unit_of_work
from server.jobs import fixity_audit, kin_pass, schedule
from server.jobs.background import Background
from server.jobs.passes import Batch, Progress, plan
from server.jobs.state import Pass, PassState, Standing
from server.settings import Settings
from tests import factories
from tests.jobs.test_kin_pass import fill, state
from tests.jobs.waiting import until_over
from tests.replica import replica_url
from tests.spoiling import spoil


@pytest.fixture(autouse=True)
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fixity_audit, "BATCH", 5)


def audited(settings: Settings) -> PassState:
    with Background(settings) as works:
        works.start_pass(Pass.FIXITY, "Aksel")
        return until_over(works, Pass.FIXITY)


def first_image(engine: Engine) -> str:
    with factories.acting(engine) as work:
        return factories.upload(work, factories.text_tape()).image.sha256


def test_an_audit_of_what_is_whole_writes_one_event(engine: Engine, settings: Settings):
    fill(engine)
    done = audited(settings)
    assert (done.standing, done.by) == (Standing.DONE, "Aksel")
    assert done.result == {"images": 13, "failing": 0, "mended": 0}
    assert done.progress == Progress(13, 13, 0)
    with unit_of_work(engine, COMMAND) as work:
        found = fixity.last_audit(work)
        assert found is not None
        assert (found.images, found.failing, found.by) == (13, 0, "Aksel")
        assert fixity.failures(work) == ()


def test_what_is_damaged_is_put_back_from_the_replica(
    engine: Engine, settings: Settings, request: pytest.FixtureRequest
):
    fill(engine)
    sha256 = first_image(engine)
    replica = replica_url(request, settings)
    spoil(engine, sha256)
    done = audited(settings.model_copy(update={"replica": replica}))
    assert done.result == {"images": 14, "failing": 1, "mended": 1}
    with unit_of_work(engine, COMMAND) as work:
        assert fixity.failures(work) == ()


def test_without_a_replica_it_stays_failing_until_it_is_mended(engine: Engine, settings: Settings):
    sha256 = first_image(engine)
    spoil(engine, sha256)
    for _ in range(2):
        assert audited(settings).result == {"images": 1, "failing": 1, "mended": 0}
    with unit_of_work(engine, COMMAND) as work:
        assert [each.sha256 for each in fixity.failures(work)] == [sha256]


def test_one_that_holds_its_own_frames_again_is_acquitted(engine: Engine, settings: Settings):
    sha256 = first_image(engine)
    with factories.acting(engine) as work:
        failed = Checked(sha256, 3, b"was")
    spoil(engine, sha256)
    with factories.acting(engine) as work:
        audits.settle(work, "earlier", failed, audits.Good(None, "none"))
    spoil(engine, sha256)  # the same hole flipped back
    assert audited(settings).result == {"images": 1, "failing": 0, "mended": 0}
    with unit_of_work(engine, COMMAND) as work:
        assert fixity.failures(work) == ()


def test_a_batch_done_twice_comes_to_the_same(engine: Engine):
    spoil(engine, first_image(engine))
    once, twice = (fixity_audit.hash_again(engine, None, "one", 0, 9) for _ in range(2))
    assert once == twice == Batch(1, 1, 1)
    with unit_of_work(engine, COMMAND) as work:
        assert len(fixity.failures(work)) == 1


def test_the_pass_that_finds_kin_lets_damaged_images_be(engine: Engine, settings: Settings):
    hexadecimal = factories.hex_tape()
    with factories.acting(engine) as work:
        sha256 = factories.upload(work, hexadecimal).image.sha256
    before = state(engine)
    spoil(engine, sha256)
    fixity_audit.hash_again(engine, None, "one", 0, 9)
    up_to = plan(engine).up_to
    for name in kin_pass.ROUNDS:
        kin_pass.act(engine, name, 0, up_to)
    assert state(engine) == before


def test_only_one_audit_is_on_its_way(
    engine: Engine, settings: Settings, monkeypatch: pytest.MonkeyPatch
):
    first_image(engine)
    goes_on = Signal()
    check = audits.check

    def waiting(library: Engine, image_id: int) -> Checked:
        goes_on.wait(20)
        return check(library, image_id)

    monkeypatch.setattr(audits, "check", waiting)
    with Background(settings.model_copy(update={"audit_days": 0.000001})) as works:
        first = works.start_pass(Pass.FIXITY, "one")
        assert works.start_pass(Pass.FIXITY, "another").started == first.started
        assert not works.start_due_audit()
        goes_on.set()
        assert until_over(works, Pass.FIXITY).by == "one"


def test_a_kin_pass_and_an_audit_wait_for_each_other(engine: Engine, settings: Settings):
    fill(engine, families=1)
    with Background(settings) as works:
        works.start_pass(Pass.KIN, "one")
        works.start_pass(Pass.FIXITY, "two")
        kin, audit = (until_over(works, each) for each in Pass)
    assert (kin.by, audit.by) == ("one", "two")
    assert kin.result is not None
    assert audit.result is not None
    assert {*kin.result} == {"images", "pairs"}


def test_an_audit_begins_by_itself_when_one_is_due(engine: Engine, settings: Settings):
    first_image(engine)
    wanted = settings.model_copy(update={"background_work": True, "audit_days": 0.000001})
    app = create_app(wanted)

    with TestClient(app):
        done = until_over(app.state.background, Pass.FIXITY)
    assert (done.standing, done.by) == (Standing.DONE, "schedule")
    with unit_of_work(engine, COMMAND) as work:
        last = fixity.last_audit(work)
        assert last is not None
        assert last.by == "schedule"


def test_none_begins_by_itself_before_its_time_or_where_none_is_wanted(
    engine: Engine, settings: Settings
):
    first_image(engine)
    for days in (0, 7):
        wanted = settings.model_copy(update={"audit_days": days})
        with Background(wanted, keeps_schedule=True) as works:
            assert not works.start_due_audit()
            assert works.last_pass(Pass.FIXITY) is None


def newest(standing: Standing, ago: timedelta) -> PassState:
    now = datetime.now(UTC)
    ended = now - ago if standing.is_over else None
    return PassState(standing, "x", now - ago, ended, Progress(0, 0, 0), None, "")


@pytest.mark.parametrize(
    ("standing", "ago", "is_due"),
    [
        (Standing.WAITING, timedelta(days=30), False),
        (Standing.RUNNING, timedelta(days=30), False),
        (Standing.STOPPED, timedelta(hours=23), False),
        (Standing.STOPPED, timedelta(hours=25), True),
        (Standing.FAILED, timedelta(hours=23), False),
        (Standing.FAILED, timedelta(hours=25), True),
    ],
)
def test_one_that_was_stopped_or_failed_is_left_alone_for_a_day(
    engine: Engine,
    monkeypatch: pytest.MonkeyPatch,
    standing: Standing,
    ago: timedelta,
    is_due: bool,
):
    monkeypatch.setattr(fixity_audit, "is_due", lambda *_: True)
    assert schedule.audit_is_due(engine, 7, newest(standing, ago)) == is_due


def test_a_database_that_is_away_for_a_moment_does_not_end_the_looking_round(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("server.jobs.background.LOOK_ROUND_SECONDS", 0.05)
    looks: list[int] = []

    def away(*_: object) -> bool:
        looks.append(1)
        raise OperationalError("SELECT", None, OSError("the disk was away"))

    monkeypatch.setattr(schedule, "audit_is_due", away)
    with Background(settings, keeps_schedule=True):
        _wait(lambda: len(looks) > 2)


def _wait(holds: Callable[[], bool]) -> None:
    until = time.monotonic() + 10
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.02)
