"""Two images compared line by line, page by page."""

from tests.api.conftest import V1
from tests.api.sending import sha, upload
from tests.api.tapes_to_read import ORCHARD, text_tape

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
