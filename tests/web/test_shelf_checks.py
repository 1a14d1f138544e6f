"""The pages of shelf checks: ticked along the shelf, closed with a report, without a script."""

import pytest

from server.web.shelf_checks import numbers_in


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("1979.6 1979.1\n1978.12.b", ("1979.6", "1979.1", "1978.12.b")),
        ("https://tapes.example/tapes/1979.6\r\n", ("1979.6",)),
        (" , ;", ()),
    ],
)
def test_numbers_are_taken_as_they_are_typed_or_scanned(text, numbers):
    assert numbers_in(text) == numbers


def test_a_check_is_gone_on_with_ticked_and_closed(volunteer, library):
    at = f"/places/{library.place}"
    assert "Go on with the check" in volunteer.get(at).text
    check = volunteer.fill_in(f"{at}/check", seen_at=at).headers["location"]
    assert check == f"/shelf-checks/{library.check}"
    assert "Still to be seen: 1" in volunteer.get(check).text

    volunteer.fill_in(f"{check}/found", seen_at=check, tick="1979.6", numbers="/tapes/1979.1")
    page = volunteer.get(check).text
    assert "Everything that was expected has been seen." in page
    assert "not expected here" in page
    volunteer.fill_in(f"{check}/not-found", seen_at=check, tape="1979.6")
    fields = {"mark_missing": "yes", "move_found": "yes", "note": "Lid is lost", "revision": "4"}
    assert volunteer.fill_in(f"{check}/close", seen_at=check, **fields).status_code == 303

    report = volunteer.get(check).text
    for told in ("Not found: 1 tape", "Not expected here: 1 tape", "Lid is lost", "2 differences"):
        assert told in report
    assert "missing" in volunteer.get("/tapes/1979.6").text
    assert "Loft, shelf 2" in volunteer.get("/tapes/1979.1").text
    again = volunteer.fill_in(f"{at}/check", seen_at=at)
    assert again.headers["location"] != check


def test_what_is_refused_is_said_and_what_was_typed_kept(volunteer, library):
    check = f"/shelf-checks/{library.check}"
    wrong = volunteer.fill_in(f"{check}/found", seen_at=check, numbers="1901.1")
    assert (wrong.status_code, "There is no tape 1901.1." in wrong.text) == (422, True)
    stale = volunteer.fill_in(f"{check}/close", seen_at=check, revision="7", note="Kept")
    assert (stale.status_code, "Kept" in stale.text) == (412, True)
    assert "Still to be seen: 1" in volunteer.get(check).text
