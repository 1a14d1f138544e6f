"""The frames of an image over HTTP: tags, ranges, digests, and names of files."""

import base64
import hashlib

import pytest

from tests.api.conftest import V1
from tests.api.tapes_to_read import ORCHARD, hex_tape, text_tape

TAPE = text_tape(ORCHARD)
SHA = hashlib.sha256(TAPE).hexdigest()
TAG = f'"{SHA}"'
PATH = f"{V1}/images/{SHA}/frames"
DIGEST = f"sha-256=:{base64.b64encode(hashlib.sha256(TAPE).digest()).decode()}:"


@pytest.fixture
def held(volunteer, visitor):
    volunteer.post(f"{V1}/images", files={"file": ("reel.bin", TAPE)})
    return visitor


def test_the_frames_come_back_as_they_were_sent(held):
    answer = held.get(PATH)

    assert answer.content == TAPE
    assert answer.headers["Content-Type"] == "application/octet-stream"
    assert answer.headers["ETag"] == TAG
    assert answer.headers["Repr-Digest"] == DIGEST
    assert answer.headers["Accept-Ranges"] == "bytes"
    assert "immutable" in answer.headers["Cache-Control"]
    assert "public" in answer.headers["Cache-Control"]


def test_no_coding_changes_the_frames_on_the_way(held):
    answer = held.get(PATH, headers={"Accept-Encoding": "gzip, br"})

    assert "Content-Encoding" not in answer.headers
    assert str(len(TAPE)) == answer.headers["Content-Length"]


def test_head_gives_the_headers_of_get_and_no_body(held):
    got, head = held.get(PATH), held.head(PATH, headers={"Range": "bytes=0-1"})

    assert head.status_code == 200
    assert head.content == b""
    assert dict(got.headers) == dict(head.headers)


@pytest.mark.parametrize("tags", [TAG, f"W/{TAG}", f'"x", {TAG}', "*"])
@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_who_has_the_frames_is_told_so(held, tags, method):
    answer = held.request(method, PATH, headers={"If-None-Match": tags})

    assert (answer.status_code, answer.content, answer.headers["ETag"]) == (304, b"", TAG)
    assert "immutable" in answer.headers["Cache-Control"]


@pytest.mark.parametrize(
    ("asked", "start", "stop"),
    [("bytes=0-9", 0, 10), ("bytes=-7", len(TAPE) - 7, len(TAPE)), ("bytes=40-", 40, len(TAPE))],
)
def test_a_range_gives_that_part(held, asked, start, stop):
    answer = held.get(PATH, headers={"Range": asked})

    assert answer.status_code == 206
    assert TAPE[start:stop] == answer.content
    assert f"bytes {start}-{stop - 1}/{len(TAPE)}" == answer.headers["Content-Range"]
    assert answer.headers["Repr-Digest"] == DIGEST


def test_parts_put_together_are_the_whole(held):
    parts = [
        held.get(PATH, headers={"Range": f"bytes={at}-{at + 99}", "If-Range": TAG}).content
        for at in range(0, len(TAPE), 100)
    ]

    assert b"".join(parts) == TAPE


def test_a_range_after_the_end_is_refused_with_the_size(held):
    answer = held.get(PATH, headers={"Range": f"bytes={len(TAPE)}-"})

    assert (answer.status_code, answer.json()["code"]) == (416, "no-such-range")
    assert f"bytes */{len(TAPE)}" == answer.headers["Content-Range"]


def test_another_tag_in_if_range_gives_the_whole(held):
    answer = held.get(PATH, headers={"Range": "bytes=0-9", "If-Range": '"other"'})

    assert (answer.status_code, answer.content) == (200, TAPE)


def test_several_ranges_give_the_whole(held):
    assert held.get(PATH, headers={"Range": "bytes=0-1,4-5"}).status_code == 200


def test_a_tag_without_quotes_is_refused(held):
    answer = held.get(PATH, headers={"If-None-Match": SHA})

    assert (answer.status_code, answer.json()["where"]) == (400, "If-None-Match")


def test_what_nothing_vouches_for_is_served_and_says_so(held, volunteer):
    checked = hex_tape()
    volunteer.post(f"{V1}/images", files={"file": ("reel.bin", checked)})
    sound = held.get(f"{V1}/images/{hashlib.sha256(checked).hexdigest()}/frames")

    assert held.get(PATH).headers["Feedhole-Verification"] == "unverified"
    assert sound.headers["Feedhole-Verification"] == "verified"


def test_the_file_is_named_after_the_tape_and_not_after_what_was_uploaded(volunteer, visitor):
    volunteer.post(f"{V1}/tapes", json={"title": "Orchard", "accession_number": "1978.12"})
    volunteer.post(
        f"{V1}/images", files={"file": ('../"evil"\r\n.bin', TAPE)}, data={"tape": "1978.12"}
    )
    named = visitor.get(PATH).headers["Content-Disposition"]

    assert named.startswith('attachment; filename="1978.12')
    assert "filename*=UTF-8''1978.12" in named
    assert "evil" not in named
