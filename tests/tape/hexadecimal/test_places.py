from server.tape.findings import Finding, Severity
from server.tape.hexadecimal.places import FIRST_FINDINGS, Places, bounded, bounded_by_kind
from server.tape.view import View
from tests.tape.hex_tapes import flipped, tape


def finding(frame: int, kind: str = "address-gap") -> Finding:
    return Finding(kind, Severity.NOTE, frame, 2, f"frame {frame}", "none")


def test_few_findings_are_all_told():
    assert bounded(3, finding) == [finding(0), finding(1), finding(2)]


def test_findings_beyond_the_bound_share_one():
    told = bounded(FIRST_FINDINGS + 30, finding)
    last = told[-1]
    assert len(told) == FIRST_FINDINGS + 1
    assert (last.frame, last.frames) == (FIRST_FINDINGS, 31)
    assert "30 more findings of this kind" in last.message


def test_each_kind_is_bounded_alone_and_all_are_in_tape_order():
    many = [finding(frame) for frame in range(500, 0, -1)]
    told = bounded_by_kind([*many, finding(7, "record-truncated")])
    assert len(told) == FIRST_FINDINGS + 2
    assert [each.frame for each in told] == sorted(each.frame for each in told)
    assert sum(each.kind == "record-truncated" for each in told) == 1


def test_a_finding_lies_on_the_frames_of_its_characters():
    places = Places(View(tape(b"ABCDEF\r\n" * 8, leader=5)).characters())
    found = places.finding(2, 4, "record-truncated", Severity.DAMAGE, "short", "read again")
    assert (found.frame, found.frames) == (7, 2)
    assert found.message == "frame 7 (17.78 mm, 0.7 in): short"


def test_parity_errors_are_counted_from_the_record():
    image = flipped(tape(b"ABCDEF\r\n" * 8, leader=5), 5 + 3, 0x80)
    places = Places(View(image).characters())
    assert places.parity_errors(2, 6) == [1]
    assert places.parity_errors(4, 6) == []
