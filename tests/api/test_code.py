"""The listing of an image as machine code, over JSON and as text."""

import json

from server.tape.formats import FORMATS
from server.tape.formats.nc_program import NcContent
from tests.api.conftest import V1
from tests.api.sending import sha, upload
from tests.api.tapes_to_read import ORCHARD, hex_tape, text_tape
from tests.tape.test_program_view import PROGRAM

TAPE = hex_tape(PROGRAM)
ADDRESS = f"{V1}/images/{sha(TAPE)}/listing"


def test_code_is_given_as_text(volunteer, visitor):
    upload(volunteer, TAPE)
    answer = visitor.get(ADDRESS, params={"as": "code"})
    assert answer.status_code == 200
    assert "LXI H,D011C" in answer.text
    assert visitor.get(ADDRESS).text.startswith("0100  31 00 02")


def test_code_is_given_as_an_object_a_line(volunteer, visitor):
    upload(volunteer, TAPE)
    answer = visitor.get(
        ADDRESS,
        params={"as": "code", "processor": "z80", "notation": "octal"},
        headers={"Accept": "application/x-ndjson"},
    )
    lines = [json.loads(line) for line in answer.text.splitlines()]
    assert lines[1]["statement"] == "LD HL,D000434"
    assert lines[1]["target"] == 0x11C
    assert lines[1]["frames"] > 0


def test_a_processor_or_notation_that_there_is_not_is_refused(volunteer, visitor):
    upload(volunteer, TAPE)
    answer = visitor.get(ADDRESS, params={"as": "code", "processor": "z81", "notation": "roman"})
    assert answer.status_code == 422
    assert [each["field"] for each in answer.json()["errors"]] == ["processor", "notation"]
    other = visitor.get(ADDRESS, params={"as": "code", "processor": "12-bit"})
    assert other.status_code == 422
    assert "Choose 8080 or z80" in other.json()["mend"]
    assert visitor.get(ADDRESS, params={"as": "picture"}).status_code == 422


def test_an_image_that_loads_nothing_has_no_code(volunteer, visitor):
    tape = text_tape(ORCHARD)
    upload(volunteer, tape)
    answer = visitor.get(f"{V1}/images/{sha(tape)}/listing", params={"as": "code"})
    assert answer.status_code == 404
    assert "loads nothing" in answer.json()["detail"]


def test_facts_name_the_processor_and_the_parts(volunteer):
    body = upload(volunteer, TAPE).json()["decoding"]
    assert body["processor"]["name"] == "8080"
    assert set(body["processor"]) == {"name", "likelihood", "reason"}
    assert [part["kind"] for part in body["parts"]] == ["leader", "program", "trailer"]
    assert set(body["parts"][0]) == {"kind", "frame", "frames", "format", "text"}
    (block,) = body["blocks"]
    assert (block["start"], block["end"], block["sound"]) == (0x100, 0xFF + len(PROGRAM), True)
    assert body["facts"] == []


def test_a_control_program_says_what_it_does(volunteer):
    image = FORMATS["nc-program"].build(NcContent(("%", "N5 G01 X100 T2", "N10 X250 F80", "M30")))

    facts = {
        fact["name"]: fact["value"]
        for fact in upload(volunteer, image.frames).json()["decoding"]["facts"]
    }

    assert (facts["tools"], facts["axis X"], facts["ends with"]) == ("T2", "X100 to X250", "M30")
