"""A punching in a browser: begun from the page of preparing, punched, read back, given up."""

import re

import pytest

from server.catalog.work import Role
from tests import factories
from tests.web.conftest import LIMIT


@pytest.fixture
def kites(library):
    return f"/images/{library.kites}/punchings"


def begin(client, library, image=None, **fields):
    image = image or library.hex
    answer = client.fill_in(
        f"/images/{image}/punchings", seen_at=f"/images/{image}/prepare", **fields
    )
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def say_punched(client, path, **fields):
    given = {"medium": "paper", "rate": "70", "punch": "the tall one", **fields}
    return client.fill_in(f"{path}/punched", seen_at=path, **given)


def send(client, path, data, **fields):
    files = {"file": ("back.bin", data)}
    return client.fill_in(f"{path}/read-back", seen_at=path, files=files, **fields)


def refusal_in(answer):
    found = re.search(r'<div class="refusal".*?</div>', answer.text, re.DOTALL)
    assert found is not None
    return found[0]


def test_the_whole_way_from_an_image_to_a_labelled_copy(volunteer, library):
    prepared = volunteer.get(f"/images/{library.hex}/prepare")
    path = begin(volunteer, library, leader_frames="70")
    page = volunteer.get(path).text
    frames = volunteer.get(f"{path}/frames")
    punched = say_punched(volunteer, path)
    waiting = volunteer.get(path).text
    done = send(volunteer, path, bytes(30) + frames.content, reader="optical")
    page_after = volunteer.get(path).text
    number = re.search(r'href="/tapes/(2[0-9.]+)/label"', page_after)
    assert number is not None
    tape = volunteer.get(f"/tapes/{number[1]}").text

    assert f'formaction="/images/{library.hex}/punchings"' in prepared.text
    assert "prepared, not punched" in page
    assert "Cautions for handling tape" in page
    assert frames.headers["Content-Disposition"].startswith('attachment; filename="punching-')
    assert frames.headers["Feedhole-Verification"] == "verified"
    assert (punched.status_code, done.status_code) == (303, 303)
    assert "Next: read it back" in waiting
    assert "Read back: the same" in page_after
    assert "30 frames of idle tape were read beyond the leader." in page_after
    assert "Punched from" in tape
    assert f'as <a href="{path}">punching' in tape
    assert "read back" in tape
    assert "Pat the volunteer" in tape
    assert volunteer.get(f"/tapes/{number[1]}/label").status_code == 200


def test_a_reading_that_differs_is_shown_with_holes_and_strips(volunteer, library):
    path = begin(volunteer, library)
    frames = volunteer.get(f"{path}/frames").content
    say_punched(volunteer, path)
    at = frames.index(b":") + 9
    answer = send(volunteer, path, factories.damaged(frames, at, channel=2))
    page = volunteer.get(path).text

    assert answer.status_code == 303
    assert "Nothing was accessioned." in page
    assert f"1 frame changed at frame {at} " in page
    assert "Holes prepared" in page
    assert page.count('class="picture"') == 3
    assert "Read it again" in page
    assert "Punch it again" in page
    assert "Label to print" not in page


def test_a_file_that_is_exactly_what_was_prepared_is_doubted(volunteer, library):
    path = begin(volunteer, library)
    frames = volunteer.get(f"{path}/frames").content
    say_punched(volunteer, path)
    send(volunteer, path, frames)

    assert "Make sure that it came from a reader" in volunteer.get(path).text


def test_an_image_that_nothing_vouches_for_is_punched_only_by_who_knows_it(volunteer, library):
    prepare = f"/images/{library.kites}/prepare"
    refused = volunteer.fill_in(f"/images/{library.kites}/punchings", seen_at=prepare)
    path = begin(volunteer, library, library.kites, acknowledged="yes")

    assert refused.status_code == 409
    assert "Tick this box" in refused.text
    assert "the new tape stays unverified" in volunteer.get(path).text


def test_a_preparation_that_cannot_be_is_refused_on_its_own_page(volunteer, library):
    answer = volunteer.fill_in(
        f"/images/{library.hex}/punchings",
        seen_at=f"/images/{library.hex}/prepare",
        leader_frames="many",
    )

    assert answer.status_code == 422
    assert "<h1>Prepare" in answer.text


def test_a_wrong_rate_is_refused_and_what_was_typed_is_kept(volunteer, library):
    path = begin(volunteer, library)
    answer = say_punched(volunteer, path, rate="-3", punch="lever model")

    assert answer.status_code == 422
    assert "rate" in refusal_in(answer)
    assert 'value="lever model"' in answer.text
    assert "<title>Error:" in answer.text


def test_a_step_that_somebody_else_took_meanwhile_is_refused(volunteer, archivist, library):
    path = begin(volunteer, library)
    secret = volunteer.secret_of(path)
    say_punched(archivist, path)
    answer = volunteer.post(f"{path}/punched", data={"csrf": secret, "medium": "paper"})

    assert answer.status_code == 409
    assert "“punched”" in refusal_in(answer)
    assert "Next: read it back" in answer.text


def test_reading_back_without_a_file_or_with_too_much_is_refused(volunteer, library):
    path = begin(volunteer, library)
    say_punched(volunteer, path)
    nothing = volunteer.fill_in(f"{path}/read-back", seen_at=path)
    empty = send(volunteer, path, b"")
    too_much = send(volunteer, path, bytes(LIMIT + 1))

    assert [each.status_code for each in (nothing, empty, too_much)] == [422, 422, 413]
    assert 'aria-invalid="true"' in nothing.text
    assert "Next: read it back" in volunteer.get(path).text


def test_a_punching_is_given_up_and_taken_up_again(volunteer, library):
    path = begin(volunteer, library)
    volunteer.fill_in(f"{path}/give-up", seen_at=path, note="no paper left")
    given_up = volunteer.get(path).text
    again = volunteer.fill_in(f"{path}/again", seen_at=path)

    assert "no paper left" in given_up
    assert "Take it up again" in given_up
    assert again.status_code == 303
    assert "Next: punch it" in volunteer.get(path).text


def test_reels_lead_to_each_other_and_are_labelled_together(volunteer, library):
    path = begin(volunteer, library, library.long, frames_per_reel="100000", acknowledged="yes")
    page = volunteer.get(path).text
    others = re.findall(r'<li><a href="(/punchings/\d+)"[^>]*>Reel', page)
    for each in others:
        frames = volunteer.get(f"{each}/frames").content
        say_punched(volunteer, each)
        send(volunteer, each, frames)
    last = volunteer.get(others[-1]).text

    assert len(others) > 1
    assert f"Labels of all {len(others)} reels" in last
    assert f"reel {len(others)} of {len(others)}" in last


@pytest.mark.parametrize("step", ["punched", "read-back", "again", "give-up"])
def test_steps_are_for_volunteers_with_a_form_of_their_own(step, visitor, volunteer, library):
    path = f"/punchings/{library.waiting}"
    files = {"file": ("a.bin", b"\1")} if step == "read-back" else None
    forged = volunteer.post(f"{path}/{step}", data={"medium": "paper"}, files=files)
    stranger = visitor.post(
        f"{path}/{step}", data={"csrf": visitor.secret_of("/sign-in")}, files=files
    )

    assert forged.status_code == 403
    assert stranger.status_code == 401


def test_a_visitor_sees_how_it_stands_and_is_not_given_the_frames(visitor, library):
    path = f"/punchings/{library.waiting}"
    page = visitor.get(path).text

    assert "A volunteer who is signed in goes on" in page
    assert "/frames" not in page
    assert visitor.get(f"{path}/frames").status_code == 303


def test_a_punching_that_is_not_there_is_not_found(visitor):
    assert visitor.get("/punchings/999999").status_code == 404
    assert visitor.get("/punchings?status=half").status_code == 422


def test_the_list_is_narrowed_and_says_to_what(visitor, library):
    of_copy = visitor.get(f"/punchings?tape={library.copy}").text
    differing = visitor.get("/punchings?status=read back: differs").text

    assert f'href="/punchings/{library.copied}"' in of_copy
    assert f'href="/punchings/{library.waiting}"' not in of_copy
    assert f'href="/punchings/{library.differing}"' in differing
    assert "1 punching" in differing


def test_what_a_report_says_of_a_tape_is_heeded_where_it_would_be_run(client_of, library):
    volunteer = client_of(Role.VOLUNTEER)
    volunteer.fill_in(
        f"/tapes/{library.copy}/condition/new",
        checked_on="2026-11-20",
        state="unfit for a reader",
        reason="incident",
        method="by eye",
        hazard="none",
    )
    for path in (
        f"/tapes/{library.copy}",
        f"/punchings/{library.copied}",
        f"/tapes/{library.copy}/label",
    ):
        assert "Do not run this tape" in volunteer.get(path).text, path
