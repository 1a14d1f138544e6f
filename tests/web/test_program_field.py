"""A form names a program by its title, however many there are."""

import pytest

from server.catalog import programs, tapes
from server.catalog.errors import Invalid
from server.catalog.program_values import NewProgram
from server.catalog.tape_values import NewTape
from server.web.program_field import OFFERED, chosen, label, offered
from tests import factories


@pytest.fixture
def work(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        yield work


def entered(work, title):
    return programs.create(work, NewProgram(title=title)).id


def test_a_program_is_chosen_by_title_number_or_label(work):
    kites = entered(work, "Kites")

    texts = ("Kites", " kITES ", str(kites), label(kites, "Kites"), label(kites, "Renamed"))
    assert [chosen(work, text) for text in texts] == [kites] * 5


@pytest.mark.parametrize("text", ["", "  "])
def test_an_empty_field_names_no_program(work, text):
    assert chosen(work, text) is None


def test_a_title_in_digits_is_a_title_before_it_is_a_number(work):
    entered(work, "1942")

    assert chosen(work, "1942") == programs.titled(work, "1942")[0]


@pytest.mark.parametrize("text", ["Kite", "nul\0", "\ud800", "9" * 40, "Kites (no. x)", "²"])
def test_what_no_program_is_called_is_refused(work, text):
    entered(work, "Kites")
    with pytest.raises(Invalid) as refused:
        chosen(work, text)

    assert "no program is called so" in refused.value.fields["program"]


def test_programs_of_one_title_are_told_apart_by_number(work):
    first, second = entered(work, "Kites"), entered(work, "kites")
    with pytest.raises(Invalid) as refused:
        chosen(work, "Kites")

    assert f"(no. {first}), Kites (no. {second})" in refused.value.fields["program"]


def test_the_last_of_many_programs_can_be_chosen_though_it_is_not_offered(work):
    for number in range(OFFERED):
        entered(work, f"A {number}")
    last = entered(work, "Zodiac")

    assert (len(offered(work)), chosen(work, "Zodiac")) == (OFFERED, last)


def test_a_tape_is_described_with_a_program_by_title(work):
    kites = entered(work, "Kites")
    tape = tapes.create(work, NewTape(title="x", program=chosen(work, "Kites")))

    assert (tape.program, tape.program_title) == (kites, "Kites")
