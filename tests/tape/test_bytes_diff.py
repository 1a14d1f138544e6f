from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.bytes_diff import A_ROW, BytesChange, ChangeKind, frame_changes, memory_changes
from tests.tape.test_relocation import code

ADDED, REMOVED, CHANGED, MOVED = (
    ChangeKind.ADDED,
    ChangeKind.REMOVED,
    ChangeKind.CHANGED,
    ChangeKind.MOVED,
)
memories = st.dictionaries(st.integers(0, 40), st.integers(0, 3), max_size=20)


def runs(memory: dict[int, int]) -> list[tuple[int, bytes]]:
    return [(at, bytes([memory[at]])) for at in sorted(memory)]


@given(memories, memories)
def test_what_differs_leads_from_one_memory_to_the_other(
    a: dict[int, int], b: dict[int, int]
) -> None:
    result = dict(a)
    for change in memory_changes(runs(a), runs(b)):
        assert change.left_at == change.right_at
        for at, _ in enumerate(change.left, change.left_at):
            del result[at]
        result |= dict(enumerate(change.right, change.right_at))
    assert result == b


@given(memories, memories)
def test_of_words_each_is_told_whole_by_its_own_address(
    a: dict[int, int], b: dict[int, int]
) -> None:
    left, right = ([(2 * at, bytes([memory[at], 7])) for at in sorted(memory)] for memory in (a, b))
    result = dict(a)
    for change in memory_changes(left, right, cell_bytes=2):
        assert set(change.left[1::2] + change.right[1::2]) == {7}
        assert max(len(change.left), len(change.right)) == change.bytes <= A_ROW
        for at, _ in enumerate(change.left[::2], change.left_at):
            del result[at]
        result |= dict(enumerate(change.right[::2], change.right_at))
    assert result == b


def test_a_word_of_which_one_byte_differs_is_told_as_a_whole() -> None:
    a, b = [(0x100, b"\1\2\3\4")], [(0x100, b"\1\2\3\5")]
    assert list(memory_changes(a, b, cell_bytes=2)) == [
        BytesChange(CHANGED, 0x81, 0x81, b"\3\4", b"\3\5")
    ]


def test_runs_of_one_kind_are_told_together_and_cut_to_rows() -> None:
    a, b = [(0x100, bytes(40)), (0x200, b"\1")], [(0x102, bytes([*[7] * 20, *[0] * 18]))]
    assert list(memory_changes(a, b)) == [
        BytesChange(REMOVED, 0x100, 0x100, bytes(2), b""),
        BytesChange(CHANGED, 0x102, 0x102, bytes(A_ROW), bytes([7] * A_ROW)),
        BytesChange(CHANGED, 0x112, 0x112, bytes(4), bytes([7] * 4)),
        BytesChange(REMOVED, 0x200, 0x200, b"\1", b""),
    ]


def test_equal_memory_and_none_at_all_differ_in_nothing() -> None:
    assert list(memory_changes([(5, b"abc")], [(5, b"abc")])) == []
    assert list(memory_changes([], [])) == []


def test_of_moved_code_the_addresses_inside_are_told_apart_from_what_was_patched() -> None:
    a = [(0x100, code(0x100, "low"))]
    b = [(0x300, code(0x300, "low", patch=b"\1\2\3"))]
    found = list(memory_changes(a, b, 0x200))
    assert found[0] == BytesChange(CHANGED, 0x100, 0x300, a[0][1][:3], b"\1\2\3")
    assert {change.kind for change in found[1:]} == {MOVED}
    assert len(found) == 101
    assert all(change.right_at - change.left_at == 0x200 for change in found)


@given(st.binary(max_size=30), st.binary(max_size=30))
def test_what_differs_leads_from_some_frames_to_others(a: bytes, b: bytes) -> None:
    changes = frame_changes(a, b, 30)
    assert changes is not None
    result, at = b"", 0
    for change in changes:
        result += a[at : change.left_at]
        assert len(result) == change.right_at
        assert change.left == a[change.left_at : change.left_at + len(change.left)]
        result += change.right
        at = change.left_at + len(change.left)
    assert result + a[at:] == b


@pytest.mark.parametrize(("most", "told"), [(1, None), (2, 2)])
def test_frames_that_differ_too_much_are_not_set_side_by_side(most: int, told: int | None) -> None:
    data = Random(1).randbytes(100)
    read = data[:10] + data[11:50] + bytes([data[50] ^ 1]) + data[51:]
    found = frame_changes(data, read, most)
    assert (None if found is None else len(found)) == told
