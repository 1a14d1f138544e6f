"""The page of preparing: choices, preview, refusals, and the reels as files."""

import html
import re

import pytest

from server.tape.identify import decode
from tests.web.library import KITES


def page_of(image: str) -> str:
    return f"/images/{image}/prepare"


def hidden(page: str) -> dict[str, str]:
    return {
        name: html.unescape(value)
        for name, value in re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page)
    }


def test_the_page_begins_with_the_tape_as_it_is_held(visitor, library):
    page = visitor.get(page_of(library.kites))

    assert page.status_code == 200
    assert "KITES 1979.1 20" in page.text
    assert "1 reel" in page.text
    assert "What is changed from the held image" in page.text
    assert page.text.count('class="strip-figure"') == 3


def test_the_preview_is_what_the_choices_come_to(visitor, library):
    page = visitor.get(
        page_of(library.hex), params={"format": "s-record", "lettering": "QUAY", "rate": "10"}
    )

    assert "Format: Motorola S-records instead of Intel hexadecimal." in page.text
    assert "Time at 10 a second" in page.text
    assert '<option value="s-record" selected>' in page.text


def test_the_preview_alone_is_swapped_in(visitor, library):
    page = visitor.get(
        page_of(library.hex),
        params={"leader_frames": "80", "format": "", "parity": ""},
        headers={"HX-Request": "true"},
    )

    assert page.text.lstrip().startswith('<div id="preview"')
    assert "Leader: 80 frames" in page.text
    assert page.headers["HX-Push-Url"].endswith("/prepare?leader_frames=80")


def test_no_lettering_stays_no_lettering(visitor, library):
    page = visitor.get(page_of(library.hex), params={"leader_frames": "60"})

    assert "Lettering in the leader:" not in page.text


def test_a_leader_of_no_frames_is_sent_on_as_it_was_chosen(visitor, library):
    page = visitor.get(page_of(library.hex), params={"leader_frames": "0", "trailer_frames": "0"})

    assert hidden(page.text)["leader_frames"] == "0"


def test_several_reels_each_have_a_row_and_a_button(visitor, library):
    page = visitor.get(
        page_of(library.kites),
        params={"frames_per_reel": "500", "lettering": "KITES", "leader_frames": "240"},
    )

    assert "Together" in page.text
    for number in (1, 2):
        assert f"/prepare/reels/{number}" in page.text
    assert "KITES 1 OF 2, KITES 2 OF 2" in page.text


def test_more_reels_than_are_pictured_are_said_to_be_alike(visitor, library):
    page = visitor.get(page_of(library.long), params={"frames_per_reel": "60000"})

    assert "The other reels are like these." in page.text


def test_what_cannot_be_prepared_is_refused_with_its_place_and_field(visitor, library):
    page = visitor.get(page_of(library.kites), params={"code": "ita2"})

    assert page.status_code == 422
    assert "ITA2 (five levels) has no" in page.text
    assert "line 2 (frame " in page.text
    assert 'href="#code"' in page.text
    assert "Download" not in page.text


def test_a_field_that_makes_no_sense_is_marked(visitor, library):
    page = visitor.get(page_of(library.kites), params={"leader_frames": "many"})

    assert page.status_code == 422
    assert 'id="leader_frames-wrong"' in page.text
    assert 'value="many"' in page.text


def test_a_rate_that_makes_no_sense_is_marked_and_the_preview_stays(visitor, library):
    page = visitor.get(page_of(library.kites), params={"rate": "slow"})

    assert page.status_code == 200
    assert 'id="rate-wrong"' in page.text
    assert "Time at 70 a second" in page.text


def test_damage_is_refused_until_it_is_accepted(visitor, library):
    asked = {"parity": "odd"}
    refused = visitor.get(page_of(library.damaged), params=asked)
    accepted = visitor.get(page_of(library.damaged), params=asked | {"accept_damage": "yes"})

    assert refused.status_code == 422
    assert "<details open>" in refused.text
    assert accepted.status_code == 200
    assert "right or not" in accepted.text


def test_a_reel_is_sent_as_the_choices_of_the_preview_ask(visitor, library):
    page = visitor.get(
        page_of(library.hex),
        params={"format": "tek-hex", "lettering": "QUAY LIGHTS", "load_address": "0100"},
    )
    fields = hidden(page.text)
    assert fields["load_address"] == "0100"

    sent = visitor.post(f"{page_of(library.hex)}/reels/1", data=fields)

    assert sent.status_code == 200
    assert "1979.4-prepared.tape" in sent.headers["Content-Disposition"]
    again = decode(sent.content)
    assert again.decoding.format == "tek-hex"
    assert again.lettering == "QUAY LIGHTS"


def test_an_unverified_reel_needs_the_tick(visitor, library):
    where = page_of(library.kites)
    fields = hidden(visitor.get(where, params={"lettering": "KITES AGAIN"}).text)

    refused = visitor.post(f"{where}/reels/1", data=fields)
    sent = visitor.post(f"{where}/reels/1", data=fields | {"acknowledged": "yes"})

    assert refused.status_code == 409
    assert "Tick this box to have the reel all the same." in refused.text
    assert 'value="KITES AGAIN"' in refused.text
    assert sent.status_code == 200
    assert "-unverified-prepared.tape" in sent.headers["Content-Disposition"]
    assert decode(sent.content).decoding.content == "\n".join(KITES).encode("ascii")


def test_a_reel_that_cannot_be_prepared_brings_the_page_back(visitor, library):
    where = page_of(library.hex)

    page = visitor.fill_in(f"{where}/reels/1", seen_at=where, code="ita2")

    assert page.status_code == 422
    assert "not punched in ita2" in page.text


def test_a_reel_that_is_not_there_is_not_found(visitor, library):
    where = page_of(library.hex)

    assert visitor.fill_in(f"{where}/reels/7", seen_at=where).status_code == 404


def test_a_reel_is_not_sent_to_a_form_of_elsewhere(visitor, library):
    answer = visitor.post(f"{page_of(library.hex)}/reels/1", data={"csrf": "0" * 64})

    assert answer.status_code == 403


def test_volunteers_alone_are_offered_a_punching(visitor, volunteer, library):
    button = f'formaction="/images/{library.hex}/punchings"'

    assert button not in visitor.get(page_of(library.hex)).text
    assert button in volunteer.get(page_of(library.hex)).text


def test_an_image_that_is_not_held_is_not_prepared(visitor):
    assert visitor.get(page_of("0" * 64)).status_code == 404


@pytest.mark.parametrize("path", ["/images/{hex}", "/tapes/1979.4", "/programs/{program}"])
def test_pages_lead_to_preparing(visitor, library, path):
    page = visitor.get(path.format(hex=library.hex, program=library.program))

    assert '/prepare"' in page.text


def test_help_tells_each_format_as_the_registry_has_it(visitor):
    page = visitor.get("/help/preparing")

    assert "channel-8" in page.text
    assert "not possible" in page.text
