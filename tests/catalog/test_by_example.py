"""What holds this? Lines, bytes and images as examples; the same answers on both databases."""

import pytest
from sqlalchemy import Engine

from server.catalog import by_example
from server.catalog.by_example import Answer, Example
from server.catalog.errors import Invalid, TooLarge
from server.catalog.uploads import Upload
from server.catalog.work import Work
from tests.factories import LISTING, acting, hex_tape, tape, text_tape, upload

OTHER = ("10 REM SHOALS", '20 PRINT "HOUR";H', "30 END")


@pytest.fixture
def work(engine: Engine):
    with acting(engine) as work:
        number = tape(work, title="Tide table").accession_number
        upload(work, text_tape(), tape=number)
        upload(work, text_tape(*OTHER))
        upload(work, hex_tape(0x100, bytes.fromhex("3E41D301C30001")))
        yield work


def of_lines(work: Work, *lines: str) -> Answer:
    return by_example.of_example(work, Example(text="\n".join(lines)))


def of_image(work: Work, data: bytes) -> Answer:
    return by_example.of_image(work, Upload(file_name="a.bin", data=data))


def test_lines_are_found_under_other_numbers_and_in_any_case(work: Work):
    (best,) = of_lines(work, '110 print "hour";h;"level";4+3*sin(h/12.4*6.283)', "").holders

    assert best.title == "Tide table"
    assert (best.lines, best.of, best.line) == (1, 1, 3)


def test_the_listing_that_holds_most_of_the_lines_comes_first(work: Work):
    first, *rest = of_lines(work, *LISTING[1:], "999 REM UNKNOWN").holders

    assert (first.title, first.lines, first.of) == ("Tide table", 4, 5)
    assert all(each.lines < first.lines for each in rest)


def test_bytes_are_found_in_frames_and_memory(work: Work):
    answer = by_example.of_example(work, Example(bytes="D3 01 C3"))

    assert [place.at for hit in answer.memory.hits for place in hit.places] == [0x102]
    assert answer.frames.hits == ()


def test_an_image_that_is_held_is_named(work: Work):
    answer = of_image(work, text_tape())

    assert answer.held is not None
    assert answer.found


def test_an_image_with_one_line_more_resembles_the_one_held(work: Work):
    (kin, *_) = of_image(work, text_tape(*LISTING, "60 REM ADDED")).kin

    assert kin.title == "Tide table"
    assert kin.added == 1


def test_a_piece_of_tape_is_found_in_the_frames_that_hold_it(work: Work):
    piece = text_tape()[80:130]

    assert [hit.title for hit in of_image(work, piece).frames.hits] == ["Tide table"]


def test_what_nothing_holds_is_said_to_be_new(work: Work):
    assert not of_lines(work, "10 XYLOPHONE").found
    assert not of_image(work, hex_tape(0x4000, bytes(range(200, 256)) * 3)).found


def test_no_example_is_refused(work: Work):
    with pytest.raises(Invalid):
        by_example.of_example(work, Example(text=" \n "))


def test_an_image_beyond_any_tape_is_refused(work: Work):
    with pytest.raises(TooLarge):
        of_image(work, bytes(by_example.LARGEST + 1))
