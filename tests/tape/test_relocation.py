from random import Random

import pytest

from server.tape.formats.bin12 import Bin12
from server.tape.identify import decode
from server.tape.kinship import Kind, NormalForm, Unit, compare, describe, normal_form
from server.tape.relocation import put_back, without_place
from server.tape.twelve_bit.program import WordProgram
from tests.tape.test_kinship import memory


def code(start: int, order: str, patch: bytes = b"") -> bytes:
    """A hundred pieces of code, each with a jump to the beginning of another."""
    random = Random(5)
    pieces = []
    for _ in range(100):
        word = (start + 7 * random.randrange(100)).to_bytes(
            2, "little" if order == "low" else "big"
        )
        pieces.append(random.randbytes(4) + b"\x7e" + word)
    body = b"".join(pieces)
    return patch + body[len(patch) :]


@pytest.mark.parametrize("order", ["low", "high"])
@pytest.mark.parametrize("start", [0x200, 0x117, 0x4321, 0xF000])
def test_code_assembled_for_another_address_is_relocated(order: str, start: int) -> None:
    a, b = (memory({at: code(at, order)}, b"%d" % at) for at in (0x100, start))
    found = compare(a, b)
    assert (found.kind, found.similarity, found.distance) == (Kind.RELOCATED, 1.0, 0)
    assert (found.moved_by, found.changed, found.unit) == (start - 0x100, 100, Unit.ADDRESS)
    assert compare(b, a) == found.turned()
    assert compare(b, a).moved_by == 0x100 - start


def test_the_same_bytes_elsewhere_are_relocated_and_it_says_how_far() -> None:
    a, b = memory({0x300: b"0123456789"}), memory({0x100: b"0123456789"})
    assert describe(compare(a, b)) == "the same bytes 512 addresses lower"
    assert describe(compare(b, a)) == "the same bytes 512 addresses higher"
    moved = compare(memory({0: code(0, "low")}), memory({1: code(1, "low")}))
    assert describe(moved) == (
        "the same bytes one address higher, 100 absolute addresses inside moved with them"
    )


def test_code_that_was_moved_and_patched_is_near_and_the_move_is_no_change() -> None:
    a = memory({0x100: code(0x100, "low")}, b"a")
    b = memory({0x200: code(0x200, "low", patch=b"\1\2\3")}, b"b")
    found = compare(a, b)
    assert (found.kind, found.distance, found.moved_by) == (Kind.NEAR, 3, 0x100)
    assert (found.added, found.removed, found.changed) == (0, 0, 3)
    assert describe(found) == "99.6 %: 3 addresses changed, 256 addresses higher"


@pytest.mark.parametrize(
    ("a", "b"),
    [
        ((), ()),
        (((5, b"ab"),), ((5, b"ac"),)),
        (((5, b"ab"),), ((9, b"abc"),)),
        (((5, b"ab"), (20, b"c")), ((9, b"ab"), (25, b"c"))),
    ],
)
def test_only_memory_of_one_pattern_at_another_place_is_put_back(a, b) -> None:
    assert put_back(a, b) is None


def test_a_single_byte_has_no_words_inside() -> None:
    found = put_back(((5, b"a"),), ((9, b"a"),))
    assert found is not None
    assert (found.by, found.words, found.memory) == (4, 0, ((5, b"a"),))
    assert without_place(((5, b"a"),)) == b"a"


@pytest.mark.parametrize("order", ["low", "high"])
def test_without_its_place_moved_code_is_nearly_the_same_even_over_several_runs(order) -> None:
    def told(start: int) -> bytes:
        data = code(start, order)
        return without_place(((start, data[:350]), (start + 400, data[350:])))

    one, other = told(0x1000), told(0x2345)
    assert sum(a != b for a, b in zip(one, other, strict=True)) < 30
    assert sum(a != b for a, b in zip(code(0x1000, order), code(0x2345, order), strict=True)) > 150


def words(start: int, listed: list[int]) -> NormalForm:
    """The form of a tape of words."""
    data = b"".join(word.to_bytes(2, "big") for word in listed)
    return normal_form(decode(Bin12().build(WordProgram({start: data})).frames).decoding)


LISTED = [Random(5).randrange(0o10000) for _ in range(600)]


def test_a_word_that_changed_is_one_address_and_so_are_its_neighbours_each() -> None:
    one = words(0o400, [*LISTED[:50], LISTED[50] ^ 0o7777, *LISTED[51:]])
    three = words(0o400, [*LISTED[:50], *(each ^ 0o7777 for each in LISTED[50:53]), *LISTED[53:]])
    a = words(0o400, LISTED)
    assert a.cell_bytes == 2
    assert describe(compare(a, one)).endswith(": one address changed")
    assert describe(compare(a, three)).endswith(": 3 addresses changed")
    assert describe(compare(a, words(0o400, [*LISTED, 1, 2, 3]))).endswith(": 3 addresses added")


def test_words_that_were_moved_are_told_by_the_addresses_of_words_pointers_and_all() -> None:
    at = range(5, 600, 60)

    def placed(start: int) -> NormalForm:
        pointing = [start + 3 * each if each in at else word for each, word in enumerate(LISTED)]
        return words(start, pointing)

    moved = compare(placed(0o400), placed(0o600))
    assert (moved.kind, moved.moved_by, moved.changed) == (Kind.RELOCATED, 0o200, len(at))
    assert describe(moved) == (
        "the same bytes 128 addresses higher, 10 absolute addresses inside moved with them"
    )
    assert compare(placed(0o600), placed(0o400)) == moved.turned()


def test_words_moved_to_another_field_keep_the_addresses_in_their_field() -> None:
    a, b = words(0o400, LISTED), words(0o10400, LISTED)
    assert describe(compare(a, b)) == "the same bytes 4096 addresses higher"


def test_where_only_one_of_two_loads_words_bytes_are_counted() -> None:
    a = words(0o400, LISTED)
    ((start, data),) = a.memory
    b = memory({start: data[:10] + bytes(each ^ 1 for each in data[10:12]) + data[12:]})
    assert describe(compare(a, b)).endswith(": 2 addresses changed")
