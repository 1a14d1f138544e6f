from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.fingerprints import KEPT, MOST, fingerprints
from server.tape.language import line_number
from server.tape.listing import Line, Listing
from server.tape.normal_form import NormalForm, form_of
from tests.bench.programs import line_added, misread, program, renumbered, renumbered_throughout


def basic(lines: list[str]) -> NormalForm:
    listing = Listing(tuple(Line(line, 0, len(line), line_number(line)) for line in lines))
    return form_of("text", "basic", listing, "\n".join(lines).encode(), {})


def binary(content: bytes) -> NormalForm:
    return form_of("unrecognised", None, Listing(), content, {})


def shared(a: NormalForm, b: NormalForm) -> int:
    return len(np.intersect1d(fingerprints(a), fingerprints(b)))


@given(st.binary(max_size=300))
def test_of_one_content_there_are_at_most_64_all_different_and_rising(content: bytes) -> None:
    found = fingerprints(binary(content))
    assert len(found) <= KEPT + 1
    assert found.dtype == np.int64
    assert bool(np.all(np.diff(found.astype(object)) > 0))
    assert (len(found) == 0) == (content == b"")


def test_they_are_the_same_on_every_run_and_machine() -> None:
    # Written down once: what is stored in an index must not move under it.
    assert fingerprints(binary(bytes(range(9)))).tolist() == [
        1423952017437965795,
        1490746271163532961,
        1619488523151198551,
    ]


@pytest.mark.parametrize("lines", [6, 200])
@pytest.mark.parametrize("change", [line_added, misread, renumbered])
def test_kin_share_some(lines: int, change: object) -> None:
    random = Random(lines)
    for _ in range(20):
        base = program(random, lines)
        assert callable(change)
        assert shared(basic(base), basic(change(random, base))) >= 3


def test_unrelated_programs_share_almost_none() -> None:
    random = Random(1)
    forms = [basic(program(random, 60)) for _ in range(30)]
    together = [shared(a, b) for at, a in enumerate(forms) for b in forms[at + 1 :]]
    assert sum(together) / len(together) < 2


def test_equal_listings_share_all_whatever_the_content() -> None:
    a = basic(['10 PRINT "A"', "20 END"])
    b = basic(['10 ?"A"', "20  END"])
    assert a.content != b.content
    assert fingerprints(a).tolist() == fingerprints(b).tolist()


def test_the_same_memory_shares_all_whatever_the_records_and_moved_memory_nearly_all() -> None:
    data = Random(3).randbytes(500)
    a = form_of("intel-hex", "machine code", Listing(), b":00", {256: data})
    b = form_of("s-record", "machine code", Listing(), b"S9", {256: data[:9], 265: data[9:]})
    c = form_of("intel-hex", "machine code", Listing(), b":01", {512: data})
    assert shared(a, b) == KEPT + 1
    assert shared(a, c) == KEPT + 1


def test_empty_memory_tells_nothing() -> None:
    assert len(fingerprints(binary(bytes(5000)))) == 1
    assert len(fingerprints(binary(b"\0\1" + bytes(5000)))) <= 16


def test_a_long_image_is_hashed_in_blocks_as_if_in_one() -> None:
    data = Random(4).randbytes(600_000)
    assert shared(binary(data), binary(data + b"\0")) >= KEPT - 2
    assert shared(binary(data), binary(data[1:])) >= KEPT - 2


def test_a_program_numbered_anew_keeps_all_of_them() -> None:
    base = program(Random(5), 40)
    other = renumbered_throughout(Random(6), base)
    assert fingerprints(basic(base)).tolist() == fingerprints(basic(other)).tolist()


@pytest.mark.parametrize("beside", [20, 400])
def test_a_program_keeps_all_of_them_on_a_reel_with_longer_ones(beside: int) -> None:
    one, other = program(Random(7), 12), program(Random(8), beside)
    for reel in ([*one, *other], [*other, *one], [*other, *one, *other]):
        assert np.isin(fingerprints(basic(one)), fingerprints(basic(reel))).all()


def test_no_reel_has_more_than_are_said_to_be_the_most() -> None:
    random = Random(9)
    for count in (16, 17):
        reel = [line for _ in range(count) for line in program(random, 60)]
        assert KEPT < len(fingerprints(basic(reel))) <= MOST


def test_contents_with_blank_tape_between_are_told_each_by_itself() -> None:
    random = Random(10)
    one, other = (bytes(random.choices(range(1, 256), k=size)) for size in (80, 5000))
    reel = binary(other + bytes(40) + one)
    assert np.isin(fingerprints(binary(one)), fingerprints(reel)).all()
    assert np.isin(fingerprints(binary(other)), fingerprints(reel)).all()


def test_pieces_of_memory_with_a_hole_between_are_told_each_by_itself() -> None:
    random = Random(11)
    one, other = random.randbytes(100), random.randbytes(5000)
    reel = form_of("intel-hex", "machine code", Listing(), b":", {0: other, 8000: one})
    alone = form_of("intel-hex", "machine code", Listing(), b":1", {0x4000: one})
    assert shared(alone, reel) >= 64


def test_code_assembled_for_another_address_shares_most() -> None:
    random = Random(12)
    code = [random.randbytes(3) for _ in range(200)]

    def assembled(start: int) -> NormalForm:
        jumps = b"".join(
            each + b"\xc3" + (start + 5 * at).to_bytes(2, "little") for at, each in enumerate(code)
        )
        return form_of("intel-hex", "machine code", Listing(), jumps, {start: jumps})

    assert shared(assembled(0x100), assembled(0x2340)) >= KEPT / 2
