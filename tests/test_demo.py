"""The demonstration as its command loads it: whole, once, and never over something else."""

import re
import shutil
from collections import Counter

import pytest
from sqlalchemy import Engine
from starlette.testclient import TestClient

from server import demo
from server.app import create_app
from server.catalog import (
    accounts,
    condition,
    images,
    merged,
    named,
    own_list,
    programs,
    published,
    punching,
    search,
    tapes,
    verification,
)
from server.catalog.accounts import people
from server.catalog.errors import Conflict
from server.catalog.program_values import ProgramQuery
from server.catalog.punching_values import PunchingQuery, Status
from server.catalog.queues import QUEUES, held_in
from server.catalog.search_values import SearchQuery
from server.catalog.tape_values import Departed, NewTape, TapeQuery
from server.catalog.work import COMMAND, VISITOR, Actor, Role, unit_of_work
from server.store.engine import make_engine
from server.tape.kinship import Kind


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory, sqlite_template):
    path = tmp_path_factory.mktemp("demo") / "demo.db"
    shutil.copyfile(sqlite_template, path)
    engine = make_engine(demo.settings_for(f"sqlite:///{path}"))
    assert demo.load(engine)
    yield engine
    engine.dispose()


def test_the_whole_library_is_there(loaded: Engine):
    with unit_of_work(loaded, VISITOR) as work:
        assert tapes.page(work, TapeQuery()).total == 40
        assert programs.page(work, ProgramQuery()).total == 15


def test_a_tape_is_for_members_one_for_archivists_and_one_left(loaded: Engine):
    seen = {}
    for role in (Role.VISITOR, Role.VOLUNTEER, Role.ARCHIVIST):
        with unit_of_work(loaded, Actor(None, role, role), writes=False) as work:
            seen[role] = tapes.page(work, TapeQuery()).total
            (left,) = tapes.page(work, TapeQuery(departed=Departed.ONLY)).rows
            assert left.accession_number == "2018.13"

    assert seen == {Role.VISITOR: 40, Role.VOLUNTEER: 41, Role.ARCHIVIST: 42}


@pytest.mark.parametrize("name", QUEUES)
def test_each_queue_of_work_holds_something(loaded: Engine, name: str):
    with unit_of_work(loaded, VISITOR, writes=False) as work:
        assert held_in.page(work, QUEUES[name], 5).rows


def test_those_who_work_there_have_something_on_their_lists(loaded: Engine):
    with unit_of_work(loaded, COMMAND, writes=False) as work:
        on_lists = {name: own_list.count(work.acting_as(actor), 5)
                    for name, actor in published.actors(work).items()}  # fmt: skip

    assert on_lists == {"odile": 1, "ione": 1, "aksel": 1, "maud": 0}


def test_loading_again_changes_nothing(loaded: Engine):
    assert demo.load(loaded) is False
    with unit_of_work(loaded, COMMAND) as work:
        assert len(people(work)) == 4


def test_a_library_of_somebody_else_is_left_alone(sqlite_engine: Engine):
    with unit_of_work(sqlite_engine, COMMAND) as work:
        tapes.create(work, NewTape(title="Their own tape"))

    with pytest.raises(Conflict, match="not the demonstration"):
        demo.load(sqlite_engine)
    with unit_of_work(sqlite_engine, COMMAND) as work:
        assert people(work) == ()
        assert tapes.page(work, TapeQuery()).total == 1


def test_the_second_save_of_number_duel_is_kin_with_one_line_added(loaded: Engine):
    with unit_of_work(loaded, VISITOR) as work:
        first, second = (tapes.get(work, number).image for number in ("2018.1", "2018.2"))
        assert first is not None
        assert second is not None
        (kin,) = [each for each in images.kin(work, second.sha256) if each.sha256 == first.sha256]

    assert kin.kinship == Kind.NEAR
    assert (kin.added, kin.removed, kin.changed) == (1, 0, 0)
    assert "one line added" in kin.description


def test_a_line_of_a_listing_is_found(loaded: Engine):
    with unit_of_work(loaded, VISITOR) as work:
        found = search.find(work, SearchQuery(q="RND(-1-ABS"))

    assert {hit.accession for hit in found.hits} >= {"2018.2", "2018.3", "2018.4", "2021.10"}


def test_the_damp_box_is_held_apart_and_was_reported(loaded: Engine):
    with unit_of_work(loaded, VISITOR) as work:
        damp = tapes.get(work, "2021.9")
        reports = condition.page(work, "2021.9").rows

    assert damp.quarantined
    assert damp.image is None
    assert [report.hazard for report in reports] == ["mould suspected"]


def test_three_poor_readings_of_the_lighthouse_tape_were_merged(loaded: Engine):
    with unit_of_work(loaded, VISITOR) as work:
        tape = tapes.get(work, "2022.3")
        (row,) = merged.page(work, tape="2022.3").rows
        assert tape.image is not None
        statuses = {images.get(work, each.sha256).check_status for each in tape.readings[:3]}

    assert (row.by, row.agree, row.open, len(row.readings)) == ("Odile Fenwarp", True, 0, 3)
    assert statuses == {"damaged"}
    assert (tape.image.sha256, tape.image.check_status) == (row.sha256, "sound")


@pytest.mark.parametrize(
    ("number", "word"),
    [
        ("2018.2", "proof-read"),
        ("2019.8", "self-checked"),
        ("2018.6", "unverified"),
        ("2022.3", "readings agree"),
    ],
)
def test_verification_is_what_the_story_says(loaded: Engine, number, word):
    with unit_of_work(loaded, VISITOR) as work:
        image = tapes.get(work, number).image
        assert image is not None

        assert verification.state(work, image.sha256).word == word


def test_one_copy_was_punched_and_read_back_and_another_waits(loaded: Engine):
    with unit_of_work(loaded, VISITOR) as work:
        rows = punching.page(work, PunchingQuery()).rows
        waiting, done = (punching.get(work, each.id) for each in rows)
        assert done.tape is not None
        copy = tapes.get(work, done.tape)
        assert copy.image is not None

    assert (waiting.status, done.status) == (Status.PUNCHED, Status.SAME)
    assert (copy.title, copy.punching) == ("Tide table, version 2", done.id)
    assert copy.image.verification.word == "read back"
    assert copy.image.lettering == "TIDE TABLE 2"


def links_of(page: str) -> set[str]:
    """Addresses of our own in a page, without what follows a question mark."""
    found = re.findall(r'(?:href|src)="(/[^"?#]*)', page)
    return {each for each in found if not each.startswith(("/static/", "/sign-in"))}


def shape_of(path: str) -> str:
    """The kind of page that a path leads to."""
    return re.sub(r"\b(?:[0-9a-f]{64}|[\d.]+)\b", "N", path)


def test_no_page_or_document_names_anybody_to_a_visitor_who_did_not_agree(loaded: Engine):
    """From the first page on, two of every kind of page, and what the API says under its path."""
    with unit_of_work(loaded, COMMAND) as work:
        actors = published.actors(work)
        for actor in actors.values():
            accounts.be_named(work.acting_as(actor), named=actor.name == "Aksel Brume")
    app = create_app(demo.settings_for(str(loaded.url)))
    visitor = TestClient(app, raise_server_exceptions=False, follow_redirects=False)
    seen: dict[str, str] = {}
    waiting, shapes = ["/", "/search?q=PRINT", "/tapes", "/programs", "/fixity"], Counter[str]()
    while waiting:
        path = waiting.pop(0)
        for address in (path, f"/api/v1{path}"):
            seen[address] = visitor.get(address).text
        for link in sorted(links_of(seen[path])):
            if shapes[shape_of(link)] < 2 and link not in (*seen, *waiting):
                shapes[shape_of(link)] += 1
                waiting.append(link)
    hidden = [actor.name for actor in actors.values() if actor.name != "Aksel Brume"]

    assert [path for path, text in seen.items() if any(name in text for name in hidden)] == []
    assert len([path for path, text in seen.items() if named.SOMEBODY in text]) > 10
    assert len([path for path, text in seen.items() if "Aksel Brume" in text]) > 3
