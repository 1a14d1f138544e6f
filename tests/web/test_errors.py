"""Errors: what, where and how to mend it, on a page of ours or in a region of one."""

import pytest
from sqlalchemy.exc import OperationalError

from server.catalog import tapes

NO_IMAGE = "0" * 64


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/nowhere", 404),
        ("/tapes/1901.7", 404),
        ("/tapes/%00", 404),
        ("/tapes/1979.1%2F..%2F..%2Fetc", 404),
        (f"/images/{NO_IMAGE}", 404),
        ("/images/short", 404),
        (f"/images/{NO_IMAGE}/listing", 404),
        (f"/images/{NO_IMAGE}/download", 404),
        (f"/images/{NO_IMAGE}/compare/{NO_IMAGE}", 404),
        ("/programs/999999", 404),
        ("/programs/99999999999999999999999", 404),
        ("/condition-reports/0", 404),
        ("/static/none.css", 404),
        ("/programs/kites", 400),
        ("/condition-reports?page=none", 400),
        ("/tapes?page=0", 422),
        ("/tapes?sort=sideways", 422),
        ("/tapes?program=kites", 422),
        ("/search?q=RND&cursor=nonsense", 422),
        ("/search?q=" + "x" * 500, 422),
        ("/condition-reports?page=-4", 400),
        ("/condition-reports?page=99999999999999999999", 400),
    ],
)
def test_a_wrong_address_gets_a_page_that_says_what_to_do(path, status, visitor):
    response = visitor.get(path)

    assert response.status_code == status
    assert "What to do:" in response.text
    assert "Traceback" not in response.text


def test_a_wrong_method_names_those_that_serve(visitor):
    response = visitor.post("/help")

    assert response.status_code == 405
    assert response.headers["Allow"] == "GET"


def test_a_fault_of_ours_says_a_reference_and_nothing_else(visitor, monkeypatch):
    def fail(*_):
        raise ZeroDivisionError("the secret reason")

    monkeypatch.setattr(tapes, "page", fail)
    response = visitor.get("/tapes")

    assert response.status_code == 500
    assert "reference" in response.text
    assert "the secret reason" not in response.text
    assert "Content-Security-Policy" in response.headers


def test_a_database_that_does_not_answer_is_said_to_be_busy(visitor, monkeypatch):
    def fail(*_):
        raise OperationalError("SELECT", {}, Exception("locked"))

    monkeypatch.setattr(tapes, "page", fail)
    response = visitor.get("/tapes")

    assert response.status_code == 503
    assert "busy" in response.text


def test_htmx_is_answered_with_the_error_alone_inside_the_region(visitor):
    response = visitor.get("/tapes?page=0", headers={"HX-Request": "true"})

    assert response.status_code == 422
    assert response.headers["HX-Reswap"] == "innerHTML"
    assert response.text.lstrip().startswith('<div class="problem" id="problem"')


def test_an_address_of_the_api_is_answered_with_a_problem_document(visitor):
    assert visitor.get("/api/v1/nowhere").headers["Content-Type"] == "application/problem+json"
