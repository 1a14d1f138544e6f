from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.fingerprints import MOST, fingerprints
from server.tape.language import line_number
from server.tape.listing import Line, Listing
from server.tape.normal_form import NormalForm, form_of
from tests.bench.programs import line_added, misread, program, renumbered


def basic(lines: list[str]) -> NormalForm:
    listing = Listing(tuple(Line(line, 0, len(line), line_number(line)) for line in lines))
    return form_of("text", "basic", listing, "\n".join(lines).encode(), {})


def binary(content: bytes) -> NormalForm:
    return form_of("unrecognised", None, Listing(), content, {})


def shared(a: NormalForm, b: NormalForm) -> int:
    return len(np.intersect1d(fingerprints(a), fingerprints(b)))


@given(st.binary(max_size=300))
def test_there_are_at_most_64_all_different_and_rising(content: bytes) -> None:
    found = fingerprints(binary(content))
    assert len(found) <= MOST
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
    assert sum(together) / len(together) < 1


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
    assert shared(a, b) == MOST
    assert shared(a, c) == MOST - 1


def test_empty_memory_tells_nothing() -> None:
    assert len(fingerprints(binary(bytes(5000)))) == 1
    assert len(fingerprints(binary(b"\0\1" + bytes(5000)))) <= 16


def test_a_long_image_is_hashed_in_blocks_as_if_in_one() -> None:
    data = Random(4).randbytes(600_000)
    assert shared(binary(data), binary(data + b"\0")) >= MOST - 2
    assert shared(binary(data), binary(data[1:])) >= MOST - 2
