from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from server.tape.loading import (
    MOST_BLOCKS,
    LoadedBlock,
    Loads,
    assemble,
    by_row,
    loaded_runs,
)


def loads(*stretches: tuple[int, bytes]) -> Loads:
    """Loads of stretches given as (address, bytes), one record each."""
    lengths = np.array([len(data) for _, data in stretches], np.int64)
    numbers = np.arange(len(stretches), dtype=np.int64)
    return Loads(
        np.frombuffer(b"".join(data for _, data in stretches), np.uint8),
        np.cumsum(lengths) - lengths,
        lengths,
        np.array([address for address, _ in stretches], np.int64),
        numbers,
        numbers * 10,
        numbers * 10 + 9,
        np.zeros(len(stretches), np.bool_),
    )


def test_runs_that_touch_become_one_range():
    memory = assemble(loads((2, b"CD"), (0, b"AB"), (8, b"X")))
    assert memory.ranges == {0: b"ABCD", 8: b"X"}
    assert memory.breaks.tolist() == [3]
    assert list(memory.spans) == [(0, 3), (8, 8)]


def test_the_byte_loaded_last_stands():
    memory = assemble(loads((0, b"ABCD"), (2, b"xy"), (0, b"AB")))
    assert memory.ranges == {0: b"ABxy"}
    assert memory.rewritten.tolist() == [1, 2]
    assert memory.contested.tolist() == [1]


def test_nothing_loads_nothing():
    assert assemble(loads()).ranges == {}
    assert list(assemble(loads()).spans) == []
    assert assemble(loads((5, b""))).ranges == {}


@given(st.lists(st.tuples(st.integers(0, 60), st.binary(max_size=12)), max_size=8))
def test_memory_is_what_loading_byte_by_byte_leaves(stretches):
    model: dict[int, int] = {}
    written: dict[int, int] = {}
    rewritten, contested = set(), set()
    for number, (address, data) in enumerate(stretches):
        for at, byte in enumerate(data, address):
            if at in model:
                rewritten.add(number)
                if model[at] != byte:
                    contested.add(number)
            model[at], written[at] = byte, number
    memory = assemble(loads(*stretches))
    found = {
        start + at: byte for start, data in memory.ranges.items() for at, byte in enumerate(data)
    }
    assert found == model
    assert (set(memory.rewritten.tolist()), set(memory.contested.tolist())) == (
        rewritten,
        contested,
    )
    cells = memory.cells
    assert cells.starts[cells.sources].tolist() == [written[at] * 10 for at in sorted(written)]


@given(st.lists(st.tuples(st.integers(0, 60), st.binary(max_size=40)), max_size=6))
def test_stretches_cut_by_row_load_the_same(stretches):
    whole = loads(*stretches)
    rows = by_row(replace(whole, starts=whole.at, stops=whole.at + whole.lengths), 16, 1)
    assert assemble(rows).ranges == assemble(whole).ranges
    assert np.all(rows.addresses // 16 == (rows.ends - 1) // 16)
    assert np.all(rows.stops - rows.starts == rows.lengths)
    assert np.all(rows.starts == rows.at)


def test_runs_that_go_on_are_one_entry_of_the_coverage_map():
    stretches = loads((0, b"AB"), (2, b"CD"), (8, b"X"), (9, b""))
    assert loaded_runs(stretches) == (
        LoadedBlock(0, 3, 0, 19, sound=True),
        LoadedBlock(8, 8, 20, 9, sound=True),
    )
    assert loaded_runs(loads()) == ()


def test_the_coverage_map_is_bounded():
    many = loads(*((2 * at, b"A") for at in range(MOST_BLOCKS + 5)))
    assert len(loaded_runs(many)) == MOST_BLOCKS


def test_words_are_held_high_byte_first():
    words = replace(loads((0o200, b"\0\0")), raw=np.array([0o1203, 0o7402], np.uint16))
    assert assemble(words).ranges == {0o200: b"\x02\x83\x0f\x02"}
