"""Addresses that people send each other hold no fields that were left empty."""

import pytest

HTMX = {"HX-Request": "true"}


@pytest.mark.parametrize(
    ("asked", "shared"),
    [
        ("/tapes?q=&sort=title&format=", "/tapes?sort=title"),
        ("/search?q=&kind=", "/search"),
        ("/search?q=A%26B+%C3%A9&format=&kind=tape&kind=listing",
         "/search?q=A%26B+%C3%A9&kind=tape&kind=listing"),
        ("/programs?q=", "/programs"),
    ],
)  # fmt: skip
def test_a_page_asked_for_with_empty_fields_is_found_without_them(visitor, asked, shared):
    answer = visitor.get(asked)

    assert (answer.status_code, answer.headers["Location"]) == (303, shared)
    assert visitor.get(shared).status_code == 200


@pytest.mark.parametrize("path", ["/tapes", "/tapes?q=tide", "/search?q=%20A", "/tapes?page=1"])
def test_a_page_asked_for_without_empty_fields_is_shown_at_once(visitor, path):
    answer = visitor.get(path)

    assert answer.status_code == 200
    assert "HX-Push-Url" not in answer.headers


def test_a_region_says_the_address_to_keep_instead_of_sending_on(visitor):
    answer = visitor.get("/tapes?q=&sort=title", headers=HTMX)

    assert (answer.status_code, answer.headers["HX-Push-Url"]) == (200, "/tapes?sort=title")


def test_a_region_whose_address_has_no_empty_fields_leaves_it_as_it_is(visitor):
    assert "HX-Push-Url" not in visitor.get("/tapes?sort=title", headers=HTMX).headers


def test_a_region_that_is_no_list_leaves_the_address_of_the_page(visitor, library):
    answer = visitor.get(f"/images/{library.kites}?rate=", headers=HTMX)

    assert (answer.status_code, "HX-Push-Url" in answer.headers) == (200, False)


def test_only_what_is_asked_for_is_sent_on_and_never_a_form(visitor):
    assert visitor.post("/appearance?theme=", data={}).status_code == 403
