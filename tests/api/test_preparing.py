"""Preparing over JSON: what it comes to, and the frames of each reel."""

import hashlib

import pytest

from server.tape.identify import decode
from tests.api.conftest import V1
from tests.api.sending import sha, upload
from tests.api.tapes_to_read import ORCHARD, hex_tape, text_tape

TEXT, HEX = text_tape(ORCHARD), hex_tape()


@pytest.fixture
def held(volunteer):
    for tape in (TEXT, HEX):
        assert upload(volunteer, tape).status_code in (200, 201)


def prepared(visitor, tape, **asked):
    return visitor.get(f"{V1}/images/{sha(tape)}/prepared", params=asked)


def test_the_facts_of_each_reel_add_up(visitor, held):
    told = prepared(visitor, HEX, format="s-record", lettering="ORCHARD", rate=10).json()

    (reel,) = told["reels"]
    assert (told["format"], told["code"], told["parity"]) == ("s-record", "iso-646", "even")
    assert reel["leader"]["start"] == 0
    assert reel["leader"]["stop"] == reel["data"]["start"]
    assert reel["data"]["stop"] == reel["trailer"]["start"]
    assert reel["trailer"]["stop"] == reel["frames"]
    assert reel["seconds"] == pytest.approx(reel["frames"] / 10, abs=0.1)
    assert reel["length_mm"] == pytest.approx(reel["frames"] * 2.54)
    assert reel["lettering"] == "ORCHARD"
    assert "Format: Motorola S-records instead of Intel hexadecimal." in told["changes"]


def test_the_frames_of_a_reel_are_those_told_of(visitor, held):
    asked = {"format": "s-record", "lettering": "ORCHARD"}
    told = prepared(visitor, HEX, **asked).json()

    sent = visitor.get(f"{V1}/images/{sha(HEX)}/prepared/reels/1", params=asked)

    assert hashlib.sha256(sent.content).hexdigest() == told["reels"][0]["sha256"]
    assert sent.headers["Feedhole-Verification"] == "verified"
    assert decode(sent.content).decoding.memory == decode(HEX).decoding.memory


def test_what_nothing_vouches_for_must_be_acknowledged(visitor, held):
    where = f"{V1}/images/{sha(TEXT)}/prepared/reels/1"

    refused = visitor.get(where)
    sent = visitor.get(where, params={"acknowledged": "true"})

    assert (refused.status_code, refused.json()["code"]) == (409, "not-verified")
    assert sent.status_code == 200
    assert sent.headers["Feedhole-Verification"] == "unverified"


def test_a_refusal_names_the_field_the_frame_and_the_characters(visitor, held):
    answer = prepared(visitor, TEXT, code="ita2")
    problem = answer.json()

    assert answer.status_code == 422
    assert problem["where"].startswith("frame ")
    assert [each["field"] for each in problem["errors"]] == ["code"]
    assert "ITA2 (five levels) has no" in problem["detail"]


@pytest.mark.parametrize(
    "asked", [{"leader_frames": "-1"}, {"rate": "0"}, {"load_address": "QUAY"}, {"colour": "red"}]
)
def test_a_choice_out_of_bounds_is_refused_by_its_name(visitor, held, asked):
    answer = prepared(visitor, HEX, **asked)

    assert answer.status_code == 422
    assert [each["field"] for each in answer.json()["errors"]] == [*asked]


def test_a_reel_that_is_not_there_is_not_found(visitor, held):
    answer = visitor.get(f"{V1}/images/{sha(HEX)}/prepared/reels/2")

    assert (answer.status_code, answer.json()["code"]) == (404, "not-found")


def test_a_reel_can_be_asked_for_in_parts(visitor, held):
    where = f"{V1}/images/{sha(HEX)}/prepared/reels/1"
    whole = visitor.get(where)

    part = visitor.get(where, headers={"Range": "bytes=10-19"})

    assert (part.status_code, part.content) == (206, whole.content[10:20])
