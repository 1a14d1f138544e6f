"""Two images compared line by line, by what they load, and as readings of one tape."""

from random import Random

import pytest

from tests.api.conftest import V1
from tests.api.sending import sha, upload
from tests.api.tapes_to_read import ORCHARD, hex_tape, text_tape

ORCHARD_TAPE = text_tape(ORCHARD)


def test_two_images_are_compared_line_by_line(volunteer, visitor):
    """Right is the image that is asked about, left the one that it is compared with."""
    upload(volunteer, ORCHARD_TAPE)
    changed = text_tape([*ORCHARD[:2], "25 PRINT", *ORCHARD[2:-1], "90 STOP"])
    upload(volunteer, changed)
    body = visitor.get(f"{V1}/images/{sha(changed)}/kin/{sha(ORCHARD_TAPE)}").json()
    rows = body["rows"]

    assert (sha(ORCHARD_TAPE), 1, 0, 1) == tuple(
        body[name] for name in ("sha256", "added", "removed", "changed")
    )
    assert [row["right"]["text"] for row in rows if row["kind"] == "added"] == ["25 PRINT"]
    last = rows[-1]
    assert (
        last["kind"], last["left"]["text"], last["right"]["text"]
    ) == ("changed", "90 END", "90 STOP")  # fmt: skip
    assert "".join(piece["text"] for piece in last["right_pieces"]) == "90 STOP"


def test_a_long_comparison_is_given_page_by_page(volunteer, visitor):
    long = text_tape([f"{number} PRINT" for number in range(1, 1500)])
    upload(volunteer, ORCHARD_TAPE)
    upload(volunteer, long)
    path = f"{V1}/images/{sha(long)}/kin/{sha(ORCHARD_TAPE)}"
    first, second = visitor.get(path), visitor.get(path, params={"page": 2})

    assert f'<{path}?page=2>; rel="next"' in first.headers["Link"]
    assert [len(each.json()["rows"]) for each in (first, second)] == [
        1000, first.json()["total"] - 1000
    ]  # fmt: skip
    assert (first.json()["pages"], first.json()["left_out"]) == (2, "")


def test_equal_lines_are_left_out_of_a_comparison_unless_all_are_asked_for(volunteer, visitor):
    lines = [f"{number} PRINT" for number in range(1, 50)]
    one, other = text_tape(lines), text_tape([*lines, "50 END"])
    upload(volunteer, one)
    upload(volunteer, other)
    path = f"{V1}/images/{sha(other)}/kin/{sha(one)}"
    near, everything = (
        visitor.get(path, params={"lines": each}).json() for each in ("near", "all")
    )

    assert [row["folded"] for row in near["rows"]] == [46, 0, 0, 0, 0]
    assert (len(everything["rows"]), everything["rows"][-1]["kind"]) == (50, "added")


PATCHED = bytes([*range(20), 0xAA, 0xBB, *range(22, 64), 0xCC])


def kin(one, other):
    return f"{V1}/images/{sha(one)}/kin/{sha(other)}"


def test_memory_is_compared_by_address(volunteer, visitor):
    upload(volunteer, hex_tape())
    upload(volunteer, hex_tape(PATCHED))
    path = kin(hex_tape(PATCHED), hex_tape())
    whole = visitor.get(path).json()
    body = visitor.get(f"{path}/memory").json()

    assert whole["memory"] == {
        "differences": 2, "more": False, "added": 1, "removed": 0, "changed": 2, "moved": 0
    }  # fmt: skip
    assert whole["frames"] is None
    assert body["items"] == [
        {"kind": "changed", "left_at": 0x114, "right_at": 0x114, "left": "1415", "right": "aabb"},
        {"kind": "added", "left_at": 0x140, "right_at": 0x140, "left": "", "right": "cc"},
    ]
    assert (body["cell_bytes"], body["moved_by"], body["more"]) == (1, 0, False)
    assert (body["total"], body["page"], body["pages"]) == (2, 1, 1)


def test_many_differences_in_memory_are_given_page_by_page(volunteer, visitor):
    one, other = (hex_tape(Random(seed).randbytes(20_000)) for seed in (1, 2))
    upload(volunteer, one)
    upload(volunteer, other)
    path = f"{kin(other, one)}/memory"
    first, second = visitor.get(path), visitor.get(path, params={"page": 2})

    assert f'<{path}?page=2>; rel="next"' in first.headers["Link"]
    assert (len(first.json()["items"]), first.json()["pages"]) == (1000, 2)
    assert second.json()["items"][0]["left_at"] > first.json()["items"][-1]["left_at"]


@pytest.fixture
def readings(volunteer, archivist):
    """Two readings of one tape, of which the second lost two frames."""
    body = {"accession_number": "1990.1", "title": "Orchard", "medium": "paper", "levels": 8}
    assert archivist.post(f"{V1}/tapes", json=body).status_code == 201
    lost = ORCHARD_TAPE[:60] + ORCHARD_TAPE[62:]
    for each in (ORCHARD_TAPE, lost):
        assert upload(volunteer, each, tape="1990.1").is_success
    return ORCHARD_TAPE, lost


def test_readings_of_one_tape_are_compared_frame_by_frame(visitor, readings):
    first, lost = readings
    path = kin(lost, first)
    body = visitor.get(f"{path}/frames").json()

    assert visitor.get(path).json()["frames"]["removed"] == 2
    (change,) = body["items"]
    assert (change["kind"], change["right"], len(change["left"])) == ("removed", "", 4)
    assert first[change["left_at"]:][:2].hex() == change["left"]  # fmt: skip


def test_readings_too_far_apart_are_said_to_be_so(visitor, readings, monkeypatch):
    monkeypatch.setattr("server.catalog.byte_by_byte.MOST_CHANGES", 1)
    answer = visitor.get(f"{kin(*readings)}/frames")

    assert answer.status_code == 404
    assert "differ in too many frames" in answer.json()["detail"]
    assert visitor.get(kin(*readings)).json()["frames"]["differences"] is None


@pytest.mark.parametrize(
    ("what", "why"), [("memory", "do not both load memory"), ("frames", "not readings of one")]
)
def test_what_cannot_be_compared_byte_by_byte_is_absent(volunteer, visitor, what, why):
    upload(volunteer, ORCHARD_TAPE)
    upload(volunteer, hex_tape())
    answer = visitor.get(f"{kin(hex_tape(), ORCHARD_TAPE)}/{what}")

    assert (answer.status_code, answer.headers["Content-Type"]) == (404, "application/problem+json")
    assert why in answer.json()["detail"]
