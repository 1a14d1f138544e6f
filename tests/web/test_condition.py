"""Condition on the pages: reports in full, photos, and tapes that should not be run."""

import re
from io import BytesIO

import pytest
from PIL import Image

from tests import camera

NUMBER = "1979.1"
NEW = f"/tapes/{NUMBER}/condition/new"
BARRED = "do not run"


def report(client, number=NUMBER, **others):
    given = {"checked_on": "2026-03-02", "state": "worn", **others}
    return client.fill_in(f"/tapes/{number}/condition/new", **given)


def files(*data):
    return [("photos", (f"{at}.jpg", each, "image/jpeg")) for at, each in enumerate(data)]


def photo_ids(page):
    return sorted(set(re.findall(r'src="/photos/(\d+)/small.jpg"', page)))


def test_a_report_is_logged_with_all_that_it_can_say(volunteer):
    sent = report(
        volunteer,
        handling="no sprocket or pins",
        action="punch a copy",
        urgency="soon",
        next_check="2027-03-02",
        **{
            "defects.0.kind": "elongated feed holes",
            "defects.0.severity": "severe",
            "defects.0.extent": "here and there",
            "defects.0.position_mm": "11 ft 2 in",
            "defects.0.length_mm": "3 cm",
        },
    )
    page = volunteer.get(sent.headers["Location"]).text

    for words in (
        "no sprocket or pins", "punch a copy, soon", "2027-03-02", "elongated feed holes",
        "3.40 m, 30.00 mm long", "about frame 1,340; here and there",
    ):  # fmt: skip
        assert words in page


def test_a_length_that_is_none_is_shown_again_with_its_fault(volunteer):
    sent = report(
        volunteer,
        **{
            "defects.0.kind": "tear",
            "defects.0.severity": "slight",
            "defects.0.position_mm": "far",
        },
    )

    assert sent.status_code == 422
    assert 'href="#defects-0-position_mm"' in sent.text
    assert 'value="far"' in sent.text
    assert "3.41 m" in sent.text


def test_a_report_and_its_photos_are_logged_in_one(volunteer, visitor):
    sent = report(volunteer, shows="The tear at 3.4 m", files=files(camera.located()))
    where = sent.headers["Location"]
    page = visitor.get(where).text
    (photo,) = photo_ids(page)

    assert 'alt="The tear at 3.4 m"' in page
    assert photo_ids(visitor.get(f"/tapes/{NUMBER}").text) == [photo]
    for name in ("whole", "small"):
        answer = visitor.get(f"/photos/{photo}/{name}.jpg")
        assert answer.headers["Content-Type"] == "image/jpeg"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert dict(Image.open(BytesIO(answer.content)).getexif()) == {}


def test_a_file_that_is_no_photo_stops_the_report_and_keeps_what_was_written(volunteer):
    sent = report(volunteer, advice="By hand.", files=files(camera.photo(), b"frames"))

    assert sent.status_code == 422
    assert "1.jpg: It is no JPEG" in sent.text
    assert "By hand." in sent.text
    assert "By hand." not in volunteer.get(f"/tapes/{NUMBER}/condition").text


def test_a_form_that_is_sent_twice_makes_one_report(volunteer):
    page = volunteer.get(NEW).text
    (key,) = re.findall(r'name="key" value="([^"]+)"', page)
    first, again = (report(volunteer, key=key) for _ in range(2))

    assert first.headers["Location"] == again.headers["Location"]


def test_photos_are_added_described_and_taken_away(volunteer, archivist):
    where = f"/tapes/{NUMBER}/photos"
    assert volunteer.fill_in(where).status_code == 422
    assert volunteer.fill_in(where, files=files(camera.photo())).status_code == 303
    (photo,) = photo_ids(volunteer.get(where).text)
    assert "not described yet" in volunteer.get(where).text

    volunteer.fill_in(f"/photos/{photo}", shows="Its box")
    assert 'alt="Its box"' in volunteer.get(f"/photos/{photo}").text
    assert volunteer.fill_in(f"/photos/{photo}", shows="x" * 300).status_code == 422

    gone = archivist.fill_in(f"/photos/{photo}/remove", seen_at=f"/photos/{photo}")
    assert gone.headers["Location"] == where
    assert volunteer.get(f"/photos/{photo}/small.jpg").status_code == 404


def test_only_those_who_may_have_their_photos_read(visitor):
    for path in (NEW, f"/tapes/{NUMBER}/photos"):
        sent = visitor.post(path, files=files(b"x" * 100), headers={"Origin": "http://testserver"})
        assert sent.status_code in (303, 401)


def test_a_report_is_held_against_the_one_before_or_any_other(volunteer):
    tear = {"defects.0.kind": "tear", "defects.0.position_mm": "1 m"}
    *_, newest = [
        report(volunteer, checked_on=f"2026-03-0{day}", **tear, **{"defects.0.severity": severity})
        for day, severity in enumerate(("slight", "moderate", "severe"), 1)
    ]
    where = newest.headers["Location"]
    page = volunteer.get(where).text
    assert "Since the report of 2026-03-02" in page
    assert "moderate, now severe" in page
    (first,) = re.findall(r'<option value="(\d+)">2026-03-01', page)

    assert "slight, now severe" in volunteer.get(f"{where}?against={first}").text
    assert "moderate, now severe" in volunteer.get(f"{where}?against=9999").text


@pytest.fixture
def barred(volunteer):
    """A tape that carries the kites, punched from and searched for, and is not to be run."""
    report(volunteer, handling="do not run")
    return NUMBER


def test_do_not_run_stands_wherever_the_tape_does(barred, library, visitor, volunteer):
    program = library.program
    tape = {"title": "Kites", "program": "Kites", "medium": "paper", "revision": "2"}
    changed = volunteer.fill_in(f"/tapes/{NUMBER}/edit", condition="worn", **tape)
    assert changed.status_code == 303
    anybody = (
        "/tapes",
        f"/tapes/{NUMBER}",
        f"/images/{library.kites}",
        f"/images/{library.seeded}",  # among what it resembles
        f"/images/{library.kites}/family",
        f"/images/{library.kites}/prepare",
        f"/programs/{program}",
        "/search?q=kites",
        "/search?q=QUARRY",
        f"/punchings/{library.waiting}",
        f"/programs/{program}/versions/1/sheet",
        f"/images/{library.kites}/download",
    )
    silent = [path for path in anybody if BARRED not in visitor.get(path).text.lower()]

    assert silent == []
    assert "Ask before running" in visitor.get(f"/tapes/{NUMBER}/label").text


def test_do_not_run_stands_in_queues_and_own_lists(barred, volunteer):
    page = volunteer.get("/queues/single-reading").text
    row = page[page.index(f"/tapes/{NUMBER}") :][:3000]

    assert BARRED in row


def test_an_archivist_lets_a_tape_be_read_once_and_takes_it_back(barred, archivist, volunteer):
    where = f"/tapes/{NUMBER}"
    assert "The station refuses it" in volunteer.get(where).text
    allowed = archivist.fill_in(f"{where}/permission", seen_at=where, reason="By hand, by two.")
    assert allowed.status_code == 303
    assert "by the word of Pat the archivist: By hand, by two." in volunteer.get(where).text
    assert BARRED in volunteer.get(where).text

    archivist.fill_in(f"{where}/permission/end", seen_at=where)
    assert "by the word of" not in volunteer.get(where).text
    refused = volunteer.fill_in(f"{where}/permission", seen_at=NEW, reason="Mine")
    assert refused.status_code == 403


def test_what_is_to_be_looked_at_again_comes_up_on_its_day(volunteer):
    report(volunteer, checked_on="2026-01-02", next_check="2026-01-03")

    assert f"/tapes/{NUMBER}/condition/new" in volunteer.get("/queues/no-report").text


def test_a_finding_stands_beside_the_defect_that_was_logged_in_its_place(
    volunteer, visitor, library
):
    report(
        volunteer,
        "1979.3",
        **{
            "defects.0.kind": "crease",
            "defects.0.severity": "slight",
            "defects.0.position_mm": "20 cm",
        },
    )
    for page in (visitor.get("/tapes/1979.3").text, visitor.get(f"/images/{library.damaged}").text):
        assert "parity error at 203.20 mm; crease logged at 200 mm (report of 2026-03-02)" in page
        assert 'class="along-defect"' in page
    strip = visitor.get(f"/images/{library.damaged}/strip.svg?start=60").text
    assert ">crease</text>" in strip


def surveyed(client, **others):
    page = client.get("/survey").text
    (key,) = re.findall(r'name="key" value="([^"]+)"', page)
    given = {"tape": NUMBER, "checked_on": "2026-03-03", "state": "worn", "key": key}
    return client.fill_in("/survey", **{**given, **others})


def test_a_survey_logs_a_report_in_three_marks(volunteer):
    sent = surveyed(volunteer, defects=["crease", "dust"])
    assert sent.status_code == 200
    where = re.search(r'href="(/condition-reports/[0-9]+)"', sent.text)
    assert where
    page = volunteer.get(where[1]).text

    assert "crease" in page
    assert "dust" in page
    assert "camera=(self)" in sent.headers["Permissions-Policy"]
    assert "camera=()" in volunteer.get("/tapes").headers["Permissions-Policy"]


def test_a_survey_that_is_sent_twice_makes_one_report(volunteer):
    key = "0f8fad5b-d9cb-469f-a165-70867728950e"
    first, again = (surveyed(volunteer, key=key) for _ in range(2))
    shown = [re.findall(r"/condition-reports/[0-9]+", each.text) for each in (first, again)]

    assert shown[0] == shown[1]
    assert volunteer.get(f"/tapes/{NUMBER}/condition").text.count("/condition-reports/") == 1


@pytest.mark.parametrize(
    ("given", "status", "words"),
    [
        ({"tape": "1901.1"}, 404, "There is no tape 1901.1"),
        ({"tape": "kites"}, 422, "1978.12"),
        ({"state": ""}, 422, "how it stands"),
        ({"files": [("photos", ("a.jpg", b"frames", "image/jpeg"))]}, 422, "no JPEG"),
    ],
)
def test_a_survey_that_cannot_be_logged_says_why(volunteer, given, status, words):
    sent = surveyed(volunteer, **given)

    assert sent.status_code == status
    assert words in sent.text


def test_the_page_that_the_browser_keeps_names_nobody(volunteer):
    page = volunteer.get("/survey/empty").text

    assert "Pat the volunteer" not in page
    assert 'name="csrf"' not in page
    assert 'id="survey"' in page
    worker = volunteer.get("/survey-worker.js")
    assert worker.headers["Content-Type"].startswith("text/javascript")
    assert "/survey/empty" in worker.text


def test_a_visitor_surveys_nothing(visitor):
    assert visitor.get("/survey").status_code in (303, 401)
