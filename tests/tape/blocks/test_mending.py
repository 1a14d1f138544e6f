from hypothesis import given
from hypothesis import strategies as st

from server.tape.blocks.mending import NAMED, Flip, flips, offered
from server.tape.formats.absolute_block import LAYOUT
from server.tape.formats.checksum_block import LAYOUTS, Rule

LAYOUTS_TRIED = st.sampled_from([LAYOUT, *LAYOUTS.values()])


@given(LAYOUTS_TRIED, st.binary(min_size=8, max_size=40))
def test_each_change_offered_closes_the_block_and_there_are_no_others(layout, block):
    found = set(flips(block, layout))
    first = max(layout.count_at + layout.count_bytes, layout.summed_from)
    for place in range(first, len(block)):
        for channel in range(8):
            due = block[place] ^ 1 << channel
            changed = block[:place] + bytes([due]) + block[place + 1 :]
            closes = not layout.residue(changed)
            assert closes == (Flip(place, block[place], due) in found)


def test_at_most_a_handful_is_named():
    named = offered([Flip(at, 0, 1) for at in range(NAMED + 3)])

    assert named.count("frame") == NAMED
    assert "or 3 others likewise" in named
    assert offered([]) == "no single hole closes it, so more than one is wrong"


def test_the_second_rule_leaves_the_address_alone():
    layout = LAYOUTS[Rule.DATA_ONLY]

    assert {each.place for each in flips(b"\x3c\x02\0\1\0\0\1", layout)} == {4, 5, 6}
