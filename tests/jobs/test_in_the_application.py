"""Background work starts and ends with the application, as `serve` runs it."""

from sqlalchemy import Engine
from starlette.testclient import TestClient

from server.app import create_app
from server.catalog.work import COMMAND
from server.jobs.background import Background
from server.jobs.state import Pass
from server.settings import Settings
from tests.jobs.test_kin_pass import fill
from tests.jobs.waiting import until_over


def test_it_starts_with_the_application_and_ends_with_it(engine: Engine, settings: Settings):
    fill(engine, families=1)
    wanted = settings.model_copy(update={"background_work": True})
    for _ in range(2):
        app = create_app(wanted)
        with TestClient(app) as client:
            background = app.state.background
            assert isinstance(background, Background)
            background.start_pass(Pass.KIN, COMMAND.name)
            assert client.get("/").status_code == 200
            found = until_over(background, Pass.KIN)
        assert found.result == {"images": 4, "pairs": 3}


def test_a_worker_that_is_told_not_to_takes_up_none(settings: Settings):
    app = create_app(settings)
    with TestClient(app):
        assert app.state.background is None
