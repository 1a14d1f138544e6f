"""Every address of the site, asked by somebody to whom all that is held is closed."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote

import pytest
from fastapi import FastAPI
from sqlalchemy import select
from sqlmodel import col

from server.catalog import merge_choice, merging, programs, tapes
from server.catalog.merging_values import NewMerge
from server.catalog.program_values import ProgramChange
from server.catalog.tape_values import NewTape, TapeChange
from server.catalog.vocabulary import Access
from server.catalog.work import COMMAND, Role, Work, unit_of_work
from server.settings import Settings
from server.store.engine import make_engine
from server.store.images import ImageRow
from server.store.programs import Program
from server.store.rights import ClosedImage
from server.store.tapes import Tape
from tests import factories
from tests.web.conftest import clients, site_on
from tests.web.library import KITES, Library

SECRETS = (
    "Kites", "kites", "KITES", "QUARRY", "YOUR KITE", "Monitor patch", "Long roll", "Unread tape",
    "Box of the club", "1979.", "grey spots", "Leave it in its bag",
)  # fmt: skip
"""What stands in titles, notes, listings, reports and numbers of what is closed."""

QUERIES = {
    "/search": ("?q=kite", "?q=quarry", "?q=1979", "?q=kitse", "?q=print&facets=true", "?q=ite"),
    "/search/bytes": ("?bytes=%22KITE%22", "?bytes=%22KITE%22&where=memory"),
    "/tapes": ("?q=kite", "?format=text", "?sort=newest", "?program=1"),
    "/programs": ("?q=kite",),
    "/punchings": ("?program=1",),
    "/condition-reports": ("?tape=1979.3",),
    "/merge": ("?tape=1979.1",),
    "/merged-readings": ("?tape=1979.1",),
    "/merge/result": ("?reading=1&reading=2",),
    "/labels": ("?tape=1979.1",),
}
"""Ways to ask a list or a search for what is closed, by the end of its address."""


@dataclass(frozen=True)
class Closed:
    """The site on a library in which all tapes and programs are closed to a role."""

    app: FastAPI
    library: Library
    role: Role
    digests: tuple[str, ...]

    def told(self, text: str) -> list[str]:
        """What of the closed things a text tells."""
        names = [digest[:12] for digest in self.digests]
        return [secret for secret in (*SECRETS, *names) if secret in text]


def merge_some(work: Work) -> None:
    """Three readings of one more tape, and what is merged of them."""
    tapes.create(work, NewTape(title="Kites, another", accession_number="1979.7"))
    kites = factories.text_tape(*KITES)
    for frame in (70, 90, 110):
        factories.upload(work, factories.damaged(kites, frame), tape="1979.7")
    readings = tuple(each.id for each in tapes.get(work, "1979.7").readings)
    merging.keep(
        work, merging.work_out(merge_choice.choose(work, NewMerge(readings=readings), 9999))
    )


def close_all(settings: Settings, access: Access) -> tuple[str, ...]:
    engine = make_engine(settings)
    with unit_of_work(engine, COMMAND) as work:
        merge_some(work)
        for number in work.session.scalars(select(col(Tape.accession_number))).all():
            tapes.change(work, number, TapeChange(access=access))
        for program in work.session.scalars(select(col(Program.id))).all():
            assert program is not None
            programs.change(work, program, ProgramChange(access=access))
        digests = tuple(
            work.session.scalars(
                select(col(ImageRow.sha256)).where(
                    col(ImageRow.id).in_(select(col(ClosedImage.image_id)))
                )
            )
        )
    engine.dispose()
    return digests


@pytest.fixture(
    scope="module",
    params=[(Access.MEMBERS, Role.VISITOR), (Access.RESTRICTED, Role.VOLUNTEER)],
    ids=["members", "restricted"],
)
def closed(
    library: Library, tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest
) -> Closed:
    access, role = request.param
    app = site_on(library, tmp_path_factory.mktemp("closed"))
    return Closed(app, library, role, close_all(app.state.settings, access))


def routes(app: Any, prefix: str = "") -> Iterator[str]:
    """The paths of all routes that answer a GET."""
    for route in app.routes:
        included = getattr(route, "include_context", None)
        if included is not None:
            yield from routes(included.included_router, prefix + included.prefix)
        elif hasattr(getattr(route, "app", None), "routes"):
            yield from routes(route.app, prefix + route.path)
        elif "GET" in (getattr(route, "methods", None) or ()):
            yield prefix + route.path


def filled(path: str, library: Library) -> str:
    """The path with what is closed in the place of its parameters."""
    path = path.replace("/reels/{number}", "/reels/1")
    values = {
        "number": "1979.1",
        "sha256": library.kites,
        "other": library.seeded,
        "program_id": library.program,
        "report_id": library.report,
        "punching_id": library.waiting,
        "version_id": 1,
        "merged_id": 1,
        "revision": 1,
        "name": "unread",
        "column": 70,
    }
    return re.sub(r"{(\w+)(?::\w+)?}", lambda match: str(values.get(match[1], 1)), path)


def addresses(closed: Closed) -> Iterator[str]:
    """All addresses, with what is closed in the place of their parameters, and asked for."""
    for path in sorted(set(routes(closed.app))):
        address = filled(path, closed.library)
        yield address
        yield from (
            f"{address}{asked}"
            for end, ways in QUERIES.items()
            if path.endswith(end)
            for asked in ways
        )


def test_nobody_is_told_anything_of_what_is_closed_to_them_at_any_address(closed: Closed):
    told: dict[str, Any] = {}
    with clients(closed.app, closed.library) as client_of:
        client = client_of(closed.role)
        asked = list(addresses(closed))
        for address in asked:
            answer = client.get(address)
            # What was asked for may be said again: as what is not there.
            found = [each for each in closed.told(answer.text) if each not in unquote(address)]
            named = closed.library.kites in address or "/1979.1" in address
            hidden = answer.status_code in ((404, 403, 401, 303) if named else range(500))
            if found or not hidden:
                told[address] = answer.status_code, found

    assert told == {}
    assert len(asked) > 90


def test_example_of_what_is_closed_finds_nothing(closed: Closed):
    kites = factories.text_tape(*KITES)
    with clients(closed.app, closed.library) as client_of:
        client = client_of(closed.role)
        answers = (
            client.post("/search/by-example", data={"text": "\n".join(KITES)}),
            client.post("/search/by-example", data={"bytes": '"YOUR KITE"'}),
            client.post("/search/by-example", files={"file": ("a.bin", kites)}),
        )

    for answer in answers:
        assert answer.status_code == 200
        shown = re.sub("<textarea.*?</textarea>|<input[^>]*>", "", answer.text, flags=re.DOTALL)
        assert closed.told(shown) == []


def test_archivist_is_shown_all_of_it(closed: Closed):
    with clients(closed.app, closed.library) as client_of:
        client = client_of(Role.ARCHIVIST)

        assert client.get("/tapes/1979.1").status_code == 200
        assert "Kites" in client.get("/search?q=quarry").text
        assert client.get(f"/images/{closed.library.kites}").status_code == 200
        assert client.get(f"/programs/{closed.library.program}").status_code == 200
