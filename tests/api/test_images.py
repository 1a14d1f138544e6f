"""Images over JSON: upload, facts, listing, kin, and vouching."""

import base64
import hashlib
import json
from concurrent.futures import ThreadPoolExecutor

import pytest

from server.inspection import facts_of
from server.tape.identify import decode
from tests.api.conftest import V1
from tests.api.sending import sha, upload
from tests.api.tapes_to_read import ORCHARD, even, hex_tape, text_tape

ORCHARD_TAPE = text_tape(ORCHARD)

RECEIPT = ("sha256", "bytes", "duplicate_of", "decoding", "kin")
FACTS = (
    "sha256", "bytes", "levels", "orientation", "leader_frames", "trailer_frames", "code", "parity",
    "format", "dialect", "check_status", "load_ranges", "entry_address", "lettering", "findings",
    "identified",
)  # fmt: skip
FINDING = ("kind", "severity", "frame", "frames", "position_mm", "message", "advice")
IDENTIFIED = ("format", "confidence", "reason")
KIN = ("sha256", "kinship", "similarity", "distance", "added", "removed", "changed")


def test_an_upload_answers_with_the_contracts_fields_first_and_in_order(volunteer):
    answer = upload(volunteer, ORCHARD_TAPE)
    body = answer.json()

    assert answer.status_code == 201
    assert tuple(body)[: len(RECEIPT)] == RECEIPT
    assert f"{V1}/images/{sha(ORCHARD_TAPE)}" == answer.headers["Location"]
    assert sha(ORCHARD_TAPE) == body["sha256"]
    assert len(ORCHARD_TAPE) == body["bytes"]
    assert body["duplicate_of"] is None
    assert body["kin"] == []


def test_the_decoding_of_an_upload_is_what_its_address_gives(volunteer):
    decoding = upload(volunteer, ORCHARD_TAPE).json()["decoding"]

    assert decoding == volunteer.get(f"{V1}/images/{sha(ORCHARD_TAPE)}").json()


@pytest.mark.parametrize(
    "data",
    [ORCHARD_TAPE, hex_tape(), ORCHARD_TAPE[::-1], bytes(range(256)) * 8, b"\0" * 300],
    ids=["text", "hex", "reversed", "noise", "blank"],
)
def test_an_image_held_has_the_facts_that_inspect_gives(volunteer, data):
    held = upload(volunteer, data).json()["decoding"]
    inspected = json.loads(facts_of(decode(data)).model_dump_json())

    assert tuple(held)[: len(FACTS)] == FACTS
    assert inspected == {name: held[name] for name in inspected}


def test_facts_of_a_hex_tape_are_those_of_its_records(volunteer):
    body = upload(volunteer, hex_tape()).json()["decoding"]

    assert body["format"] == "intel-hex"
    assert body["check_status"] == "sound"
    assert body["load_ranges"] == [{"start": 0x100, "end": 0x13F}]
    assert body["entry_address"] == 0x100
    assert body["parity"] == "even"
    assert (body["leader_frames"], body["trailer_frames"]) == (40, 40)
    assert body["verification"]["word"] == "self-checked"


def test_a_finding_and_a_format_tried_have_the_contracts_fields_first(volunteer):
    damaged = bytearray(ORCHARD_TAPE)
    damaged[60] ^= 0x80
    body = upload(volunteer, bytes(damaged)).json()["decoding"]
    finding = body["findings"][0]

    assert tuple(finding)[: len(FINDING)] == FINDING
    assert (
        finding["kind"], finding["frame"], finding["position_mm"]
    ) == ("parity-error", 60, 152.4)  # fmt: skip
    assert body["check_status"] == "damaged"
    assert all(tuple(each)[: len(IDENTIFIED)] == IDENTIFIED for each in body["identified"])
    assert body["format"] == body["identified"][0]["format"]


def test_the_same_image_again_is_held(volunteer):
    upload(volunteer, ORCHARD_TAPE)
    again = upload(volunteer, ORCHARD_TAPE)

    assert again.status_code == 200
    assert again.json()["held"]
    assert sha(ORCHARD_TAPE) == again.json()["duplicate_of"]
    assert f"{V1}/images/{sha(ORCHARD_TAPE)}" == again.headers["Location"]


def test_two_equal_uploads_at_once_make_one_image(client_of):
    from server.catalog.work import Role

    clients = [client_of(Role.VOLUNTEER) for _ in range(4)]
    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(lambda each: upload(each, ORCHARD_TAPE), clients))

    assert sorted(each.status_code for each in answers) == [200, 200, 200, 201]
    assert len({each.json()["reading"] for each in answers}) == 4


def test_another_leader_gives_a_duplicate_of_the_content(volunteer):
    upload(volunteer, ORCHARD_TAPE)
    other = upload(volunteer, text_tape(ORCHARD, leader=b"\0" * 90))

    assert other.status_code == 201
    assert sha(ORCHARD_TAPE) == other.json()["duplicate_of"]


def test_kin_counts_the_line_that_was_added(volunteer, visitor):
    upload(volunteer, ORCHARD_TAPE)
    longer = [*ORCHARD[:2], "25 PRINT", *ORCHARD[2:]]
    body = upload(volunteer, text_tape(longer)).json()
    other = visitor.get(f"{V1}/images/{sha(ORCHARD_TAPE)}/kin").json()

    assert tuple(body["kin"][0])[: len(KIN)] == KIN
    assert (sha(ORCHARD_TAPE), "near") == (body["kin"][0]["sha256"], body["kin"][0]["kinship"])
    assert tuple(body["kin"][0][name] for name in ("added", "removed", "changed")) == (1, 0, 0)
    assert tuple(other[0][name] for name in ("added", "removed", "changed")) == (0, 1, 0)
    assert "one line added" in body["kin"][0]["description"]


def test_an_upload_for_a_tape_is_a_reading_of_it(volunteer):
    volunteer.post(f"{V1}/tapes", json={"title": "Orchard", "accession_number": "1978.12"})
    body = upload(
        volunteer, ORCHARD_TAPE, tape="1978.12", levels=8, read_on="2026-05-04", reader="desk"
    ).json()
    reading = body["decoding"]["readings"][0]

    assert body["tape"] == "1978.12"
    assert tuple(reading[name] for name in ("tape", "read_on", "reader", "file_name")) == (
        "1978.12",
        "2026-05-04",
        "desk",
        "reel.bin",
    )


def test_the_listing_is_plain_text_unless_asked_otherwise(volunteer, visitor):
    upload(volunteer, ORCHARD_TAPE)
    answer = visitor.get(f"{V1}/images/{sha(ORCHARD_TAPE)}/listing")

    assert answer.headers["Content-Type"] == "text/plain; charset=utf-8"
    assert "".join(f"{line}\n" for line in ORCHARD) == answer.text
    assert "Accept" in answer.headers["Vary"]


@pytest.mark.parametrize("kind", ["application/x-ndjson", "application/jsonl"])
def test_the_listing_as_json_lines_ties_each_line_to_its_frames(volunteer, visitor, kind):
    upload(volunteer, ORCHARD_TAPE)
    answer = visitor.get(
        f"{V1}/images/{sha(ORCHARD_TAPE)}/listing", headers={"Accept": f"text/html, {kind}"}
    )
    lines = [json.loads(line) for line in answer.text.splitlines()]

    assert kind == answer.headers["Content-Type"].partition(";")[0]
    assert [line["text"] for line in lines] == ORCHARD
    assert list(range(10, 100, 10)) == [line["key"] for line in lines]
    assert list(range(1, 10)) == [line["number"] for line in lines]
    for line in lines:
        punched = ORCHARD_TAPE[line["frame"] : line["frame"] + line["frames"]]
        assert punched.startswith(even(line["text"].encode()))


def test_a_listing_in_a_form_that_there_is_not_is_refused(volunteer, visitor):
    upload(volunteer, ORCHARD_TAPE)
    answer = visitor.get(
        f"{V1}/images/{sha(ORCHARD_TAPE)}/listing", headers={"Accept": "image/png"}
    )

    assert answer.status_code == 406
    assert "text/plain" in answer.json()["mend"]


def test_an_archivist_vouches_for_an_image_and_a_volunteer_may_not(volunteer, archivist):
    upload(volunteer, ORCHARD_TAPE)
    path = f"{V1}/images/{sha(ORCHARD_TAPE)}/proof-readings"
    note = {"note": "Read against the sheet kept with the reel."}

    assert volunteer.post(path, json=note).status_code == 403
    vouched = archivist.post(path, json=note)
    assert vouched.status_code == 201
    assert vouched.json()["word"] == "proof-read"


def content_digest(body, name="sha-256"):
    digest = hashlib.new(name.replace("-", ""), body).digest()
    return f"{name}=:{base64.b64encode(digest).decode()}:"


def form_body(data):
    return (
        b'--edge\r\nContent-Disposition: form-data; name="file"; filename="reel.bin"\r\n'
        b"Content-Type: application/octet-stream\r\n\r\n" + data + b"\r\n--edge--\r\n"
    )


FORM = {"Content-Type": "multipart/form-data; boundary=edge"}


@pytest.mark.parametrize("field", ["Content-Digest", "Repr-Digest"])
@pytest.mark.parametrize("name", ["sha-256", "sha-512"])
def test_a_body_with_its_digest_is_taken(volunteer, field, name):
    body = form_body(ORCHARD_TAPE)
    answer = volunteer.post(
        f"{V1}/images", content=body, headers={**FORM, field: content_digest(body, name)}
    )

    assert answer.status_code == 201


@pytest.mark.parametrize("field", ["Content-Digest", "Repr-Digest"])
def test_a_body_with_another_digest_is_refused_and_nothing_is_stored(volunteer, field):
    headers = {**FORM, field: content_digest(b"something else")}
    answer = volunteer.post(f"{V1}/images", content=form_body(ORCHARD_TAPE), headers=headers)

    assert (answer.status_code, answer.json()["code"]) == (400, "digest-mismatch")
    assert volunteer.get(f"{V1}/images/{sha(ORCHARD_TAPE)}").status_code == 404


def test_a_file_that_is_not_the_one_announced_is_refused(volunteer):
    answer = upload(volunteer, ORCHARD_TAPE, sha256="0" * 64)

    assert answer.status_code == 422
    assert volunteer.get(f"{V1}/images/{sha(ORCHARD_TAPE)}").status_code == 404
    assert upload(volunteer, ORCHARD_TAPE, sha256=sha(ORCHARD_TAPE)).status_code == 201


PICTURE = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01" + bytes(range(256)) * 20
ARCHIVE = b"PK\x03\x04\x14\x00\x00\x00\x08\x00" + bytes(range(256)) * 20
FROM_A_PC = "".join(f"{line}\r\n" for line in ORCHARD).encode()


@pytest.mark.parametrize(
    ("data", "format_"),
    [(PICTURE, "unrecognised"), (ARCHIVE, "unrecognised"), (FROM_A_PC, "text")],
    ids=["picture", "archive", "text-file"],
)
def test_a_file_that_is_no_tape_gets_a_clear_answer(volunteer, data, format_):
    answer = upload(volunteer, data)

    assert answer.status_code in {201, 422}
    if answer.status_code == 201:
        assert format_ == answer.json()["decoding"]["format"]
    else:
        assert answer.json()["mend"]


def test_an_empty_file_is_refused_by_name(volunteer):
    answer = upload(volunteer, b"")

    assert answer.status_code == 422
    assert [each["field"] for each in answer.json()["errors"]] == ["file"]


def test_a_file_over_the_limit_is_refused_with_the_limit(volunteer):
    answer = upload(volunteer, b"\xaa" * 200_001)

    assert answer.status_code == 413
    assert answer.json()["limit_bytes"] == 200_000
    assert "200,000" in answer.json()["detail"]


@pytest.mark.parametrize("length", [{}, {"Content-Length": "90000000"}])
def test_a_body_far_over_the_limit_is_refused_with_the_limit(volunteer, length):
    answer = volunteer.post(
        f"{V1}/images", content=iter([b"\xaa" * 100_000] * 9), headers=FORM | length
    )

    assert (answer.status_code, answer.json()["code"]) == (413, "too-large")
    assert answer.json()["limit_bytes"] == 200_000
    assert "200,000" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"levels": "9"}, "levels"),
        ({"levels": "six"}, "levels"),
        ({"tape": "reel 12"}, "tape"),
        ({"read_on": "soon"}, "read_on"),
        ({"colour": "blue"}, "colour"),
    ],
)
def test_a_field_that_cannot_be_taken_is_named(volunteer, fields, field):
    answer = upload(volunteer, ORCHARD_TAPE, **fields)

    assert answer.status_code == 422
    assert [field] == [each["field"] for each in answer.json()["errors"]]


def test_a_tape_that_is_not_held_is_named(volunteer):
    answer = upload(volunteer, ORCHARD_TAPE, tape="1901.1")

    assert answer.status_code in {404, 422}
    assert "1901.1" in answer.text
    assert volunteer.get(f"{V1}/images/{sha(ORCHARD_TAPE)}").status_code == 404


def test_too_few_levels_are_refused_with_the_frame(volunteer):
    answer = upload(volunteer, ORCHARD_TAPE, levels=5)

    assert answer.status_code == 422
    assert "levels" in answer.json()["mend"]


@pytest.mark.parametrize(
    ("content", "headers", "status"),
    [
        (b"{}", {"Content-Type": "application/json"}, 415),
        (b"no form at all", FORM, 400),
        (b"", {"Content-Type": "multipart/form-data"}, 400),
        (b"--edge--\r\n", FORM, 422),
    ],
)
def test_a_body_that_is_no_form_with_a_file_is_refused(volunteer, content, headers, status):
    answer = volunteer.post(f"{V1}/images", content=content, headers=headers)

    assert status == answer.status_code


def test_two_files_in_one_form_are_refused(volunteer):
    answer = volunteer.post(
        f"{V1}/images", files=[("file", ("a", ORCHARD_TAPE)), ("file", ("b", ORCHARD_TAPE))]
    )

    assert answer.status_code == 400


def test_a_file_sent_as_a_plain_field_is_refused(volunteer):
    answer = volunteer.post(f"{V1}/images", data={"file": "abc"}, files={"tape": ("a", b"b")})

    assert answer.status_code == 422


@pytest.mark.parametrize("tail", ["", "/listing", "/frames", "/kin"])
@pytest.mark.parametrize("name", ["0" * 64, "nothing", "%00", "A" * 64])
def test_an_image_that_is_not_held_is_not_found(visitor, tail, name):
    answer = visitor.get(f"{V1}/images/{name}{tail}")

    assert (answer.status_code, answer.json()["code"]) == (404, "not-found")
