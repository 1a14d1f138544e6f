import re
import time

import pytest

from server.catalog import audits
from server.catalog.held import image_id_of
from server.catalog.work import COMMAND, Role, unit_of_work
from server.jobs.background import Background
from tests.spoiling import spoil

AUDIT = {"pass": "fixity-audit"}
ALARM = "fails the fixity check"


@pytest.fixture
def failing(app, library, client_of) -> str:
    """An image that an audit found spoilt."""
    engine = app.state.engine
    spoil(engine, library.kites)
    with unit_of_work(engine, COMMAND) as work:
        image_id = image_id_of(work, library.kites)
    checked = audits.check(engine, image_id)
    with unit_of_work(engine, COMMAND) as work:
        audits.settle(work, "one", checked, audits.Good(None, audits.NO_REPLICA))
        audits.conclude(work, "one", by="Aksel", started=work.now, images=9, up_to=image_id)
    sha256: str = library.kites
    return sha256


def main_of(page: str) -> str:
    return page.partition("<main")[2]


def test_the_home_page_says_that_no_audit_ended_yet(visitor):
    page = visitor.get("/").text
    assert "No fixity audit has come to its end yet" in page
    assert 'href="/fixity"' in page
    assert "No fixity audit has come to its end yet" in visitor.get("/fixity").text


def test_the_home_page_says_when_the_last_audit_ended_and_what_it_found(visitor, failing):
    page = visitor.get("/").text
    assert re.search(r"The last full audit ended <time[^>]+>20\d\d-\d\d-\d\d [\d:]+ UTC<", page)
    assert "9 images hashed again" in page
    assert "1 image failing" in page
    assert "1 image with frames" not in page


def test_what_was_found_since_the_last_audit_is_said_too(app, visitor, failing, library):
    spoil(app.state.engine, library.hex)
    assert visitor.get(f"/images/{library.hex}/download").status_code == 409
    page = visitor.get("/").text
    assert "1 image failing" in page
    assert "2 images with frames that are not those of their names" in page


@pytest.mark.parametrize("at", ["/", "/tapes", "/upload", "/account", "/help", "/no/such/page"])
def test_the_alarm_is_on_every_page_for_people_who_are_signed_in(volunteer, visitor, failing, at):
    page = volunteer.get(at).text
    assert ALARM in main_of(page)
    assert 'role="alert"' in page
    assert ALARM not in main_of(visitor.get(at).text)


def test_no_page_raises_the_alarm_where_nothing_fails(volunteer):
    assert ALARM not in volunteer.get("/").text


def test_the_pages_of_the_image_say_it_to_everybody_and_offer_no_download(
    visitor, library, failing
):
    for at in (f"/images/{failing}", "/tapes/1979.1"):
        page = visitor.get(at).text
        assert "The held frames are not those of its name since" in page
        assert "Upload the file of the same reading" in page
        assert f"/images/{failing}/download" not in page
        assert f"/images/{failing}/prepare" not in page
    assert f"/images/{library.hex}/prepare" in visitor.get(f"/images/{library.hex}").text


@pytest.mark.parametrize("what", ["download", "prepare"])
def test_it_is_refused_with_what_to_do(visitor, failing, what):
    answer = visitor.get(f"/images/{failing}/{what}")
    assert answer.status_code == 409
    assert "not those of its name since" in answer.text
    assert "Upload the file of the same reading" in answer.text


def test_the_page_of_audits_lists_what_fails_and_what_was_found(visitor, archivist, failing):
    page = visitor.get("/fixity").text
    assert f'href="/images/{failing}"' in page
    assert audits.NO_REPLICA in page
    assert "7 days after the last one ended" in page
    assert "/work#fixity-audit" not in page
    assert "/work#fixity-audit" in archivist.get("/fixity").text


def test_an_audit_is_started_and_its_outcome_shown(archivist, app, library):
    spoil(app.state.engine, library.kites)
    with Background(app.state.settings) as background:
        app.state.background = background
        assert "No audit was ever made" in archivist.get("/work").text
        assert archivist.fill_in("/work", do="start", **AUDIT).headers["location"] == "/work"
        page, until = "", time.monotonic() + 20
        while "hashed again, " not in page and time.monotonic() < until:
            time.sleep(0.05)
            page = archivist.get("/work", headers={"HX-Request": "true"}).text
        assert re.search(r"\d+ images hashed again, 1 failing, 0 of them mended", page)
        assert page.lstrip().startswith('<div id="state"')
        assert "No pass was ever made here." in page
        app.state.background = None
    assert ALARM in archivist.get("/").text


def test_only_archivists_start_one_and_only_of_a_kind_that_there_is(client_of, archivist):
    refused = client_of(Role.VOLUNTEER).fill_in("/work", seen_at="/account", do="start", **AUDIT)
    assert refused.status_code == 403
    answer = archivist.fill_in("/work", seen_at="/account", do="start", **{"pass": "nothing"})
    assert answer.status_code == 422
    assert "no pass over the library" in answer.text
