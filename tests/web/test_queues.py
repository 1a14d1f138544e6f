"""The pages of queues: what waits, what is ticked, and one's own list; all without a script."""

import re

import pytest

from server.catalog.queues import QUEUES


def titles(page: str) -> list[str]:
    return re.findall(r'<input type="checkbox" [^>]*name="tick" value="([^"]+)"', page)


@pytest.mark.parametrize("name", QUEUES)
def test_each_queue_has_a_page_that_says_what_it_is_and_what_to_do(name, volunteer, visitor):
    page = volunteer.get(f"/queues/{name}").text

    assert "What to do:" in page
    assert f'/queues/{name}"' in volunteer.get("/queues").text
    assert 'name="tick"' not in visitor.get(f"/queues/{name}").text


def test_the_overview_says_how_much_waits_and_well_done_where_nothing_does(volunteer):
    page = volunteer.get("/queues").text
    unread = page[page.index('href="/queues/unread"') :][:200]

    assert re.search(r"<b>1</b>\s+tape\b", unread)
    assert "Well done: no two readings of a tape are left in disagreement." in page
    assert "Well done" in volunteer.get("/queues/readings-disagree").text


def test_the_first_page_tells_those_who_work_here_and_nobody_else(volunteer, visitor):
    page = volunteer.get("/").text

    assert "What needs help" in page
    assert 'href="/queues/unread"><b>1</b> unread' in page
    assert "readings-disagree" not in page
    assert "Your list: 0 things to do" in page
    assert "What needs help" not in visitor.get("/").text


def test_an_entry_leads_straight_to_what_settles_it(volunteer, archivist):
    page = volunteer.get("/queues/unread").text
    assert 'href="/upload?tape=1979.6"' in page
    assert 'href="/tapes/1979.6/condition/new"' in page

    proof = re.compile(r'href="(/images/\w+/proof-read)"')
    assert not proof.search(volunteer.get("/queues/single-reading").text)
    found = proof.search(archivist.get("/queues/single-reading").text)
    assert found
    assert archivist.get(found[1]).status_code == 200


def test_a_visitor_is_sent_to_sign_in_by_what_changes_something(visitor):
    fields = {"do": "put-on", "tick": "1979.6"}

    for response in (
        visitor.fill_in("/queues/unread", seen_at="/appearance", **fields),
        visitor.fill_in("/queues/mine", seen_at="/appearance", do="take-off", tick="unread 1979.6"),
    ):
        assert response.status_code == 401
        assert "/sign-in" in response.text
    assert visitor.get("/queues/mine").headers["location"].startswith("/sign-in")


def test_what_is_ticked_is_put_on_ones_own_list_and_taken_off(volunteer):
    ticked = ["1979.6", "1979.1"]
    response = volunteer.fill_in("/queues/no-report", do="put-on", tick=ticked)
    assert response.status_code == 200
    assert "2 entries put on your list" in response.text
    assert "on your list</span>" in response.text
    assert titles(volunteer.get("/queues/mine").text) == ["no-report 1979.1", "no-report 1979.6"]
    assert "Your list: 2 things to do" in volunteer.get("/").text

    volunteer.fill_in("/queues/mine", do="take-off", tick="no-report 1979.1")

    assert titles(volunteer.get("/queues/mine").text) == ["no-report 1979.6"]


def test_what_is_settled_is_gone_from_the_list(volunteer):
    volunteer.fill_in("/queues/no-report", do="put-on", tick="1979.6")
    report = {"checked_on": "2026-11-20", "state": "good", "reason": "schedule", "method": "by eye",
              "hazard": "none"}  # fmt: skip
    assert volunteer.fill_in("/tapes/1979.6/condition/new", **report).status_code == 303

    assert "Nothing is on your list." in volunteer.get("/queues/mine").text
    assert "1979.6" not in titles(volunteer.get("/queues/no-report").text)


def test_a_summary_says_what_was_refused_and_why(volunteer):
    fields = {"do": "not-examined", "tick": ["1979.1", "1979.3"]}
    page = volunteer.fill_in("/queues/no-report", **fields).text

    assert "1 entry set to “not examined”" in page or "2 entries set" in page
    page = volunteer.fill_in("/queues/no-report", do="put-on", tick=["1979.2", "1979.99"]).text
    assert "1 entry put on your list, 1 refused" in page
    assert "There is no tape 1979.99." in page


def test_a_place_is_set_for_all_that_are_ticked(volunteer):
    fields = {"do": "place", "place": "Shelf 9", "tick": ["1979.1", "1979.2"]}
    page = volunteer.fill_in("/queues/no-report", **fields).text

    assert "2 entries put to the new place" in page
    assert "Shelf 9" in volunteer.get("/tapes/1979.2").text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"do": "put-on"}, "Nothing is ticked."),
        ({"do": "print"}, "Nothing is ticked."),
        ({"do": "place", "tick": "1979.1"}, "The place is not given."),
    ],
)
def test_what_cannot_be_done_is_told_on_the_page_itself(volunteer, fields, said):
    response = volunteer.fill_in("/queues/no-report", **fields)

    assert response.status_code == 422
    assert said in response.text
    assert 'role="alert"' in response.text


def test_a_work_list_is_made_for_paper_and_changes_nothing(volunteer):
    ticked = ["1979.6", "1979.1"]
    page = volunteer.fill_in("/queues/no-report", do="print", tick=ticked).text

    assert "<h1>Work list of Pat the volunteer</h1>" in page
    assert page.index("1979.1") < page.index("1979.6")
    assert "Nothing is on your list." in volunteer.get("/queues/mine").text
    volunteer.fill_in("/queues/no-report", do="put-on", tick=ticked)
    page = volunteer.fill_in("/queues/mine", do="print", tick="no-report 1979.6").text
    assert "Unread tape" in page
    assert "1979.1" not in page


def test_a_work_list_of_what_is_settled_is_refused(volunteer):
    response = volunteer.fill_in("/queues/readings-disagree", seen_at="/queues/unread",
                                 do="print", tick="1979.1")  # fmt: skip

    assert response.status_code == 422
    assert "Nothing of what is ticked is left to do." in response.text


@pytest.mark.parametrize("where", ["/tapes/1979.6", "/images/{loose}"])
def test_a_tape_and_an_image_are_put_on_from_their_own_pages(where, volunteer, visitor, library):
    path = where.format(loose=library.loose)
    page = volunteer.get(path).text
    queue, key = re.findall(
        r'action="/queues/([a-z-]+)/mine".*?name="key" value="([^"]+)"', page, re.DOTALL
    )[0]
    assert key in path
    assert "To be done" not in visitor.get(path).text

    fields = {"key": key, "back": path}
    response = volunteer.fill_in(f"/queues/{queue}/mine", seen_at=path, do="put-on", **fields)
    assert (response.status_code, response.headers["location"]) == (303, path)
    assert "Take off my list" in volunteer.get(path).text
    assert titles(volunteer.get("/queues/mine").text) == [f"{queue} {key}"]

    volunteer.fill_in(f"/queues/{queue}/mine", seen_at=path, do="take-off", **fields)
    assert titles(volunteer.get("/queues/mine").text) == []


def test_what_no_queue_holds_is_put_on_by_hand_and_stays(volunteer, library):
    fields = {"key": library.hex, "back": "/"}
    path = f"/images/{library.hex}"
    volunteer.fill_in("/queues/images-by-hand/mine", seen_at=path, do="put-on", **fields)

    assert titles(volunteer.get("/queues/mine").text) == [f"images-by-hand {library.hex}"]
    assert "For another reason" in volunteer.get(path).text
    assert volunteer.get("/queues/images-by-hand").status_code == 404


def test_a_long_queue_is_paged_and_ends(volunteer):
    page = volunteer.get("/queues/no-report?page=9").text

    assert "The list ends before this page." in page
    assert volunteer.get("/queues/nonsense").status_code == 404
    assert volunteer.get("/queues/unread?page=0").status_code == 400


def test_nothing_is_changed_without_the_secret_of_the_session(volunteer):
    response = volunteer.post("/queues/unread", data={"do": "put-on", "tick": "1979.6"})

    assert response.status_code == 403
    assert titles(volunteer.get("/queues/mine").text) == []
