"""Of alignments that cost as much, the one that a misread tape explains best."""

from hypothesis import given
from hypothesis import strategies as st

from server.tape.merging.likelier import Change, likelier


def replaced(base: bytes, other: bytes) -> list[Change]:
    return [
        Change(at, at + 1, at, at + 1)
        for at, (a, b) in enumerate(zip(base, other, strict=True))
        if a != b
    ]


def test_a_frame_lost_and_another_doubled_soon_after_are_found() -> None:
    base, other = b"ABCDEF", b"ACDDEF"
    found = list(likelier(base, other, replaced(base, other)))
    assert found == [Change(1, 2, 1, 1), Change(3, 3, 2, 3)]


def test_single_channels_and_frames_alone_stay_misread() -> None:
    for base, other in ((b"ABCDEF", b"ACBDEF"), (b"AAAAAA", b"AAxAAA"), (b"ABBBCB", b"@BBBBB")):
        assert list(likelier(base, other, replaced(base, other))) == []


def test_frames_far_apart_are_not_looked_at_together() -> None:
    base = bytes(range(40))
    other = bytes([*base[:5], 0xFF, *base[6:30], 0xFE, *base[31:]])
    assert list(likelier(base, other, replaced(base, other))) == []


def test_shifts_alone_are_kept_as_they_are() -> None:
    shifts = [Change(3, 4, 3, 3), Change(30, 30, 29, 31)]
    assert list(likelier(bytes(40), bytes(41), shifts)) == shifts


def test_a_stretch_too_wide_keeps_what_was_found() -> None:
    base, other = bytes([0x0F, 0xF0] * 40), bytes([0xF0, 0x0F] * 40)
    changes = [*replaced(base, other), Change(80, 80, 80, 81)]
    assert list(likelier(base, other + b"\0", changes)) == changes[-1:]


@given(st.binary(min_size=1, max_size=12), st.binary(min_size=1, max_size=12))
def test_the_shifts_found_lead_from_the_one_to_the_other(a: bytes, b: bytes) -> None:
    shorter = min(len(a), len(b))
    changes = [Change(0, shorter, 0, shorter)]
    if len(a) != len(b):
        changes.append(Change(shorter, len(a), shorter, len(b)))
    found = list(likelier(a, b, changes))
    assert all(each.shifts for each in found)
    assert sum((c.right_end - c.right) - (c.left_end - c.left) for c in found) == len(b) - len(a)
    assert found == sorted(found)
