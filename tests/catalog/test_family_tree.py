from hypothesis import given
from hypothesis import strategies as st

from server.catalog.family_tree import Hanging, Length, Pair, grown, medoid

DISTANCES = st.integers(1, 50)


def lengths_of(distances: list[int], size: int) -> dict[Pair, Length]:
    pairs = [Pair((a, b)) for a in range(size) for b in range(a)]
    return {pair: Length(False, far / 100, far) for pair, far in zip(pairs, distances, strict=True)}


@st.composite
def families(draw: st.DrawFn) -> tuple[int, dict[Pair, Length]]:
    size = draw(st.integers(2, 6))
    count = size * (size - 1) // 2
    return size, lengths_of(draw(st.lists(DISTANCES, min_size=count, max_size=count)), size)


def total(tree: list[Hanging], lengths: dict[Pair, Length]) -> int:
    return sum(lengths[Pair(each)].distance for each in tree)


def least(size: int, lengths: dict[Pair, Length]) -> int:
    """The least total distance, by joining the nearest first (J. B. Kruskal, 1956)."""
    group, found = {at: at for at in range(size)}, 0
    for pair, length in sorted(lengths.items(), key=lambda each: each[1].distance):
        a, b = (group[each] for each in pair)
        if a != b:
            found += length.distance
            group = {at: a if mark == b else mark for at, mark in group.items()}
    return found


@given(families(), st.data())
def test_the_tree_is_the_shortest_there_is_whatever_its_root(family, data) -> None:
    size, lengths = family
    root = data.draw(st.integers(0, size - 1))
    tree = grown(range(size), root, lengths, {}, lambda *_: {})
    assert total(tree, lengths) == least(size, lengths)
    hung = [root]
    for each in tree:
        assert each.on in hung
        hung.append(each.member)
    assert sorted(hung) == list(range(size))


@given(families())
def test_who_was_made_from_another_hangs_on_it(family) -> None:
    size, lengths = family
    made_from = {at: at - 1 for at in range(1, size)}
    tree = grown(range(size), 0, lengths, made_from, lambda *_: {})
    assert tree == [Hanging(at, at - 1) for at in range(1, size)]


def test_who_is_near_nobody_is_measured_and_hung_on_the_least_unlike() -> None:
    asked = []

    def measure(member, others):
        asked.append((member, others))
        return {other: Length(False, 0.9 - other / 10, 9) for other in others}

    near = {Pair((0, 1)): Length(False, 0.1, 1), Pair((2, 3)): Length(False, 0.1, 1)}
    tree = grown([0, 1, 2, 3], 0, near, {}, measure)
    assert tree == [Hanging(1, 0), Hanging(2, 1), Hanging(3, 2)]
    assert asked == [(2, (0, 1))]


def test_who_was_made_from_one_that_is_near_nobody_waits_for_it() -> None:
    tree = grown(
        [0, 1, 2], 0, {}, {1: 2}, lambda _, others: {other: Length(False, 1, 1) for other in others}
    )
    assert tree == [Hanging(2, 0), Hanging(1, 2)]


def test_a_part_hangs_last_and_on_the_one_it_fits_best() -> None:
    lengths = {
        Pair((0, 1)): Length(False, 0.3, 30),
        Pair((0, 2)): Length(True, 0.1, 90),
        Pair((1, 2)): Length(True, 0.0, 80),
    }
    assert grown([0, 2, 1], 0, lengths, {}, lambda *_: {}) == [Hanging(1, 0), Hanging(2, 1)]


def test_the_medoid_is_the_one_in_the_middle() -> None:
    lengths = {Pair((0, 1)): Length(False, 0.1, 1), Pair((1, 2)): Length(False, 0.1, 1)}
    assert medoid([0, 1, 2], lengths) == 1
