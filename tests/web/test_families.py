"""The pages of a family and of background work, as a browser without scripts sees them."""

import re
import time
from random import Random

import pytest

from server.catalog.work import Role
from server.jobs.background import Background
from tests import factories
from tests.bench.programs import program


@pytest.fixture
def archivist(client_of):
    return client_of(Role.ARCHIVIST)


KIN = {"pass": "kin-pass"}


def family_of(client, sha256):
    return client.get(f"/images/{sha256}/family").text


def test_a_family_is_a_nested_list_with_figures_and_links(client_of, library):
    page = client_of(Role.VISITOR).get(f"/programs/{library.program}/family")
    assert page.status_code == 200
    tree = page.text[page.text.index('<ul class="tree">') :]
    assert tree.count("<li") >= 2
    assert re.search(r"<b>closest to</b> Kites[^.]*:\s+\d+\.\d %: one line added", tree)
    assert f"/images/{library.kites}/compare/{library.seeded}" in tree
    assert "Decide" not in page.text
    assert "derived" not in page.text


def test_another_reading_of_a_tape_is_told_as_such_and_leads_to_itself(client_of, app):
    reel = factories.text_tape(*program(Random(12), 30))
    with factories.acting(app.state.engine) as work:
        number = factories.tape(work).accession_number
        first, second = (
            factories.upload(work, each, tape=number).image.sha256
            for each in (reel, factories.damaged(reel, 90))
        )
    page = family_of(client_of(Role.VISITOR), first)
    assert "another reading of the same tape, <b>closest to</b>" in page
    tree = page[page.index('<ul class="tree">') :]
    assert f'<a href="/tapes/{number}"' in tree
    assert len(re.findall(rf'member-name"><a href="/images/(?:{first}|{second})"', tree)) == 1


def test_the_family_of_an_image_marks_it(client_of, library):
    page = family_of(client_of(Role.VISITOR), library.seeded)
    assert page.count('aria-current="true"') - page.count('"/tapes" aria-current="true"') == 1


def test_an_archivist_takes_one_out_and_lets_it_in_again(archivist, library):
    at = f"/images/{library.seeded}/family"
    answer = archivist.fill_in(at, kind="apart", note="another hand")
    assert (answer.status_code, answer.headers["location"]) == (303, at)
    assert "1 member," in archivist.get(at).text
    others = family_of(archivist, library.kites)
    assert "Decided not to belong" in others
    assert "another hand" in others
    answer = archivist.fill_in(at, seen_at=f"/images/{library.kites}/family", kind="undecided")
    assert answer.status_code == 303
    assert "Decided not to belong" not in family_of(archivist, library.kites)


def test_an_archivist_records_what_one_was_made_from(archivist, library):
    archivist.fill_in(
        f"/images/{library.seeded}/family", kind="made-from", other=library.kites, note="the club"
    )
    page = family_of(archivist, library.kites)
    assert "<b>made from</b> Kites, recorded by" in page
    assert "the club" in page
    answer = archivist.fill_in(
        f"/images/{library.kites}/family", kind="made-from", other=library.seeded
    )
    assert answer.status_code == 409
    assert "cannot have been made from" in answer.text


def test_one_is_put_there_by_the_number_of_its_tape(archivist, library):
    at = f"/images/{library.kites}/family"
    assert archivist.fill_in(at, kind="together", other=library.hex).status_code == 303
    assert "nothing near" in family_of(archivist, library.kites)
    answer = archivist.fill_in(at, kind="together", other="1979.2", note="seen both")
    assert answer.status_code == 303
    assert "seen both" in family_of(archivist, library.kites)
    refused = archivist.fill_in(at, kind="together", other=library.kites)
    assert refused.status_code == 422
    assert "This could not be decided" in refused.text
    assert archivist.fill_in(at, kind="together", other="1901.1").status_code == 404


def test_only_archivists_decide(client_of, library):
    volunteer = client_of(Role.VOLUNTEER)
    at = f"/images/{library.kites}/family"
    answer = volunteer.fill_in(at, seen_at="/account", kind="apart")
    assert answer.status_code == 403


def test_work_is_for_archivists_and_says_where_none_is_taken_up(client_of, archivist):
    assert client_of(Role.VOLUNTEER).get("/work").status_code == 403
    page = archivist.get("/work")
    assert page.status_code == 200
    assert "takes up no background work" in page.text
    assert 'href="/work"' in archivist.get("/").text
    refused = archivist.fill_in("/work", seen_at="/account", do="start", **KIN)
    assert refused.status_code == 409
    assert "switched off" in refused.text


def test_a_pass_is_started_looked_at_and_over(archivist, app):
    with Background(app.state.settings) as background:
        app.state.background = background
        assert "No pass was ever made" in archivist.get("/work").text
        assert archivist.fill_in("/work", do="start", **KIN).headers["location"] == "/work"
        running = archivist.get("/work", headers={"HX-Request": "true"}).text
        assert running.lstrip().startswith('<div id="state"')
        page, until = "", time.monotonic() + 20
        while "of kin recorded" not in page and time.monotonic() < until:
            time.sleep(0.05)
            page = archivist.get("/work").text
        assert re.search(r"\d+ images looked at, \d+ pairs? of kin recorded", page)
        assert "hx-trigger" not in page[page.index('id="state"') : page.index("Start a pass")]
        archivist.fill_in("/work", do="start", **KIN)
        archivist.fill_in("/work", do="stop", **KIN)
        assert re.search("stopped|of kin recorded", archivist.get("/work").text)
