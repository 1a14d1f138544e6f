import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.errors import Invalid
from server.catalog.key_in import MOST_CELLS, Cell, cells_of
from server.tape.machine_notation import HEXADECIMAL, OCTAL, OCTAL_WORDS, SPLIT_OCTAL


@pytest.mark.parametrize(
    ("text", "writing", "cells"),
    [
        (
            "7756: 6032 6031 ; waits\n\n 7776:5356",
            OCTAL_WORDS,
            [("7756", "6032", "waits"), ("7757", "6031", ""), ("7776", "5356", "")],
        ),
        ("000 377: 303 0", SPLIT_OCTAL, [("000 377", "303", ""), ("001 000", "000", "")]),
        ("400: 12700 15", OCTAL, [("000400", "012700", ""), ("000402", "000015", "")]),
        ("fffe: c3 0", HEXADECIMAL, [("FFFE", "C3", ""), ("FFFF", "00", "")]),
        ("", HEXADECIMAL, []),
    ],
)
def test_what_stands_in_a_line_goes_into_cells_from_its_address_on(text, writing, cells):
    assert cells_of(text, writing) == tuple(Cell(*each) for each in cells)


@pytest.mark.parametrize(
    ("line", "writing", "fault"),
    [
        ("7756 6032", OCTAL_WORDS, "colon"),
        ("7756: 6038", OCTAL_WORDS, "6038 is no number in octal"),
        ("7756: 10000", OCTAL_WORDS, "more than a cell"),
        ("100000: 0", OCTAL_WORDS, "has not"),
        ("0 400: 0", SPLIT_OCTAL, "no address in split octal"),
        ("0400: 0", SPLIT_OCTAL, "no address in split octal"),
        ("0 0: 400", SPLIT_OCTAL, "more than a cell"),
        ("10000: 0", HEXADECIMAL, "has not"),
        ("0: 0x1", HEXADECIMAL, "no number"),
        ("0: -1", HEXADECIMAL, "no number"),
        (f"0:{' 0' * (MOST_CELLS + 1)}", HEXADECIMAL, "by hand"),
    ],
)
def test_a_line_that_is_none_is_named_with_its_fault(line, writing, fault):
    with pytest.raises(Invalid, match=fault) as refused:
        cells_of(f"\n{line}", writing)
    assert "line 2" in refused.value.fields["bootstrap"]


@given(st.text(max_size=60), st.sampled_from((HEXADECIMAL, OCTAL, OCTAL_WORDS, SPLIT_OCTAL)))
def test_any_text_gives_cells_or_a_refusal(text, writing):
    faults = None
    try:
        cells = cells_of(text, writing)
    except Invalid as refusal:
        faults, cells = refusal.fields, ()

    assert faults is None or faults.keys() == {"bootstrap"}
    assert len(cells) <= MOST_CELLS
