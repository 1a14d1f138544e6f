"""Uploading: what each file is answered with, with a script and without."""

import zlib
from io import BytesIO
from random import Random
from zipfile import ZipFile

import pytest

from tests.factories import hex_tape, text_tape
from tests.web.conftest import LIMIT
from tests.web.library import KITES, SEEDED

SCRIPTED = {"HX-Request": "true"}


def sent(client, *files, headers=None, **fields):
    several = [("file", (name, data)) for name, data in files]
    return client.fill_in("/upload", files=several, headers=headers, **fields)


def zipped():
    packed = BytesIO()
    with ZipFile(packed, "w") as archive:
        archive.writestr("a.txt", "10 PRINT")
    return packed.getvalue()


def test_files_sent_without_a_script_lead_to_a_page_that_can_be_left_and_come_back_to(volunteer):
    response = sent(
        volunteer,
        ("one.bin", text_tape("10 REM ONE", "20 END")),
        ("two.bin", hex_tape(0x4000)),
    )
    page = volunteer.get(response.headers["location"]).text

    assert response.status_code == 303
    assert response.headers["location"].count("image=") == 2
    assert "10 REM ONE" in page
    assert page.count("Enter the tape") == 2


def test_a_script_is_answered_with_the_one_result(volunteer):
    response = sent(volunteer, ("one.bin", text_tape("10 REM ONE", "20 END")), headers=SCRIPTED)

    assert response.status_code == 200
    assert response.text.lstrip().startswith('<ul class="results" id="results"')
    assert 'data-state="stored"' in response.text
    assert "<html" not in response.text


def test_an_image_that_is_held_is_said_to_be(volunteer):
    response = sent(volunteer, ("again.bin", text_tape(*KITES)), headers=SCRIPTED)

    assert "We already hold this." in response.text
    assert 'href="/tapes/1979.1"' in response.text


def test_the_same_content_with_another_leader_is_said_to_be(volunteer, library):
    response = sent(volunteer, ("longer.bin", text_tape(*KITES, leader=300)), headers=SCRIPTED)

    assert "The same content is held already" in response.text
    assert f'href="/images/{library.kites}"' in response.text


def test_a_program_with_one_line_more_is_said_to_resemble_and_to_be_compared(volunteer):
    lines = [*SEEDED[:-1], '65 PRINT "MIND THE WIRES"', SEEDED[-1]]
    response = sent(volunteer, ("more.bin", text_tape(*lines)), headers=SCRIPTED)

    assert "This resembles" in response.text
    assert "one line added" in response.text
    assert "Compare line by line" in response.text


def test_a_proposal_fills_the_form_and_describing_makes_the_tape(volunteer):
    lines = ["10 REM HERON COUNT", "20 PRINT 1", "30 END"]
    stored = sent(volunteer, ("heron.bin", text_tape(*lines)))
    page = stored.headers["location"]
    sha256 = page.partition("image=")[2]
    response = volunteer.fill_in(
        f"/upload/{sha256}/describe", seen_at=page, title="Heron count", medium="paper", notes="n"
    )
    tape = volunteer.get(response.headers["location"]).text

    assert 'value="HERON COUNT"' in volunteer.get("/upload").text or "HERON COUNT" in tape
    assert response.status_code == 303
    assert "Heron count" in tape
    assert "10 REM HERON COUNT" in tape


def test_a_description_that_cannot_be_taken_keeps_its_input(volunteer, library):
    response = volunteer.fill_in(
        f"/upload/{library.loose}/describe",
        seen_at=f"/upload?image={library.loose}",
        title="Nobody's",
        made="last week",
        notes="kept as typed",
        headers=SCRIPTED,
    )

    assert response.status_code == 422
    assert "Nobody&#39;s" in response.text
    assert "kept as typed" in response.text
    assert 'aria-invalid="true"' in response.text


def test_an_image_can_be_put_to_a_tape_that_is_held(volunteer, library):
    response = volunteer.fill_in(
        f"/upload/{library.loose}/describe",
        seen_at=f"/upload?image={library.loose}",
        existing="1979.6",
    )

    assert response.headers["location"] == "/tapes/1979.6"
    assert "NOBODY DESCRIBED ME" in volunteer.get("/tapes/1979.6").text


def test_one_bad_file_does_not_fail_the_rest(volunteer):
    response = sent(volunteer, ("empty.bin", b""), ("good.bin", text_tape("10 REM GOOD")))

    assert response.status_code == 422
    assert "The file is empty" in response.text
    assert "10 REM GOOD" in response.text


def test_a_file_over_the_limit_is_refused_with_the_limit_named(volunteer):
    response = sent(volunteer, ("big.bin", bytes(LIMIT + 1)), headers=SCRIPTED)

    assert response.status_code == 413
    assert f"{LIMIT:,}" in response.text


def test_a_form_over_all_limits_is_refused_before_it_is_kept(volunteer):
    response = volunteer.post(
        "/appearance",
        content=b"theme=" + b"x" * 400_000,
        headers={"Content-Type": "application/x-www-form-urlencoded"},
    )

    assert response.status_code == 413
    assert "262,144" in response.text


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("noise.bin", Random(7).randbytes(400_000), "Unrecognised"),
        ("photo.jpg", b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)) * 20, "JPEG"),
        ("archive.zip", zipped(), "zip"),
        ("letter.txt", b"10 PRINT 1\r\n20 PRINT 2\r\n30 END\r\n", "10 PRINT 1"),
        ("packed.gz", zlib.compress(b"10 PRINT 1" * 99), "Unrecognised"),
        ("blank.bin", bytes(5000), "carries no check"),
        ("rubbed.bin", b"\xff" * 5000, "carries no check"),
        ("one.bin", b"A", "1 frame"),
        ("../../etc/x\n<b>.bin", text_tape("10 REM NAMED"), "10 REM NAMED"),
    ],
)
def test_whatever_is_sent_gets_a_clear_answer(name, data, said, volunteer):
    response = sent(volunteer, (name, data), headers=SCRIPTED)

    assert response.status_code in {200, 422}
    assert said.lower() in response.text.lower()
    assert "<b>.bin" not in response.text


def test_nothing_chosen_is_said_to_be(volunteer):
    response = volunteer.fill_in("/upload", files={"file": ("", b"")})

    assert response.status_code == 422
    assert "No file was chosen" in response.text


def test_levels_and_tape_given_with_the_files_are_kept(volunteer):
    response = sent(volunteer, ("seven.bin", text_tape("10 REM SEVEN")), tape="1979.6", levels="8")

    assert response.status_code == 303
    assert "10 REM SEVEN" in volunteer.get("/tapes/1979.6").text


def test_a_tape_that_is_not_held_refuses_the_file(volunteer):
    response = sent(volunteer, ("x.bin", text_tape("10 REM X")), tape="1901.1")

    assert response.status_code == 422
    assert "1901.1" in response.text


def test_a_visitor_is_led_to_sign_in_before_a_file_is_read(visitor):
    response = visitor.post("/upload", files={"file": ("x.bin", b"x" * 1000)})

    assert response.status_code == 401
    assert "Sign in" in response.text
