"""A clock that tests turn, machines on a pty, and an archive that is really served."""

import io
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
import uvicorn

from server.app import create_app
from server.catalog import tokens as issued
from server.catalog.accounts import create_person
from server.catalog.work import COMMAND, Actor, Role, unit_of_work
from server.settings import Settings
from server.station.progress import Progress
from server.store.engine import make_engine
from tests.station.devices import LONGEST_WAIT, Machine, TurnedClock
from tests.station.machines import Punch, Reader


@pytest.fixture
def clock() -> TurnedClock:
    return TurnedClock()


@pytest.fixture
def machine(clock: TurnedClock) -> Iterator[Machine]:
    made = Machine(clock)
    yield made
    made.close()


@pytest.fixture
def progress(clock: TurnedClock) -> Progress:
    return Progress(io.StringIO(), clock, total=None, rate=10)


@dataclass(frozen=True)
class Served:
    """An archive at `url`, and the token of a volunteer."""

    url: str
    token: str


@pytest.fixture
def served(sqlite_settings: Settings) -> Iterator[Served]:
    """The real application on loopback, with one volunteer."""
    engine = make_engine(sqlite_settings)
    with unit_of_work(engine, COMMAND) as work:
        person = create_person(
            work, "volunteer-1", "a long enough pass phrase", Role.VOLUNTEER, "Volunteer"
        )
        own = work.acting_as(Actor(person.id, person.display_name, Role.VOLUNTEER))
        token = issued.issue(own, "station")
    engine.dispose()
    listening = socket.create_server(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(create_app(sqlite_settings), log_level="error"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    deadline = time.monotonic() + LONGEST_WAIT
    while not server.started:
        assert time.monotonic() < deadline
        time.sleep(0.01)
    yield Served(f"http://127.0.0.1:{port}", token)
    server.should_exit = True
    thread.join(LONGEST_WAIT)
    listening.close()


@pytest.fixture
def closed_port() -> str:
    """The address of an archive where nothing listens."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return f"http://127.0.0.1:{listening.getsockname()[1]}"


@pytest.fixture(autouse=True)
def _no_settings_of_this_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("ARCHIVE", "TOKEN", "TOKEN_FILE", "OUTBOX"):
        monkeypatch.delenv(f"FEEDHOLE_{name}", raising=False)
    for name in ("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY", "http_proxy", "https_proxy"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def reader() -> Iterator[Callable[..., Reader]]:
    made: list[Reader] = []

    def make(*given) -> Reader:
        made.append(Reader(*given))
        made[-1].start()
        return made[-1]

    yield make
    for each in made:
        each.close()


@pytest.fixture
def reel(tmp_path):
    return tmp_path / "reel.bin"


@pytest.fixture
def outbox(tmp_path, monkeypatch):
    monkeypatch.setenv("FEEDHOLE_OUTBOX", str(tmp_path / "outbox"))
    return tmp_path / "outbox"


@pytest.fixture
def at_archive(served, outbox, tmp_path, monkeypatch):
    """An archive named by the environment, its token in a file."""
    (tmp_path / "token").write_text(f"{served.token}\n")
    monkeypatch.setenv("FEEDHOLE_ARCHIVE", served.url)
    monkeypatch.setenv("FEEDHOLE_TOKEN_FILE", str(tmp_path / "token"))
    return served


@pytest.fixture
def punch():
    made = []

    def make(*given):
        made.append(Punch(*given))
        made[-1].start()
        return made[-1]

    yield make
    for each in made:
        if not each.over.is_set():
            each.close()
