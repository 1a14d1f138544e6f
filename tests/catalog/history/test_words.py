"""Undoing what was done to the words of vocabularies."""

from server.catalog import (
    programs,
    vocabularies,
)
from server.catalog.events import ObjectKind
from server.catalog.history.undoing import NewUndo, undo
from server.catalog.program_values import (
    ProgramChange,
)
from server.catalog.terms import NewTerm, TermChange, Vocabulary
from tests import factories
from tests.catalog.history.steps import newest, refused

PERIPHERAL = Vocabulary.PERIPHERAL


def word(work, name):
    return next(each for each in vocabularies.words(work, PERIPHERAL) if each.word == name)


def change_word(work, name, **given):
    return vocabularies.change(work, PERIPHERAL, word(work, name).id, TermChange.of(given))


def test_words_merged_by_mistake_are_parted_in_the_records_that_had_them(engine):
    with factories.acting(engine) as work:
        one = factories.program(work, title="1", peripherals=("plotter", "lamps on a port"))
        both = factories.program(work, title="2", peripherals=("plotter", "line printer"))
        other = factories.program(work, title="3", peripherals=("line printer",))
        late = factories.program(work, title="4", peripherals=("plotter",))
        change_word(work, "plotter", merged_into="line printer")
        merged = newest(work, ObjectKind.VOCABULARY, PERIPHERAL)
        programs.change(work, late.id, ProgramChange(peripherals=()))
        entry = undo(work, merged, NewUndo())

        held = [set(programs.get(work, each.id).peripherals) for each in (one, both, other, late)]
        assert held == [
            {"plotter", "lamps on a port"}, {"plotter", "line printer"}, {"line printer"}, set(),
        ]  # fmt: skip
        undo(work, entry, NewUndo())
        assert programs.get(work, one.id).peripherals == ("line printer", "lamps on a port")


def test_what_was_done_to_a_word_is_undone_step_by_step(engine):
    with factories.acting(engine) as work:
        program = factories.program(work, peripherals=("plotter",))
        vocabularies.add(work, PERIPHERAL, NewTerm(word="tone box", meaning="Hums."))
        added = newest(work, ObjectKind.VOCABULARY, PERIPHERAL)
        change_word(work, "plotter", word="pen plotter")
        renamed = newest(work, ObjectKind.VOCABULARY, PERIPHERAL)
        change_word(work, "pen plotter", meaning="Draws.")
        meant = newest(work, ObjectKind.VOCABULARY, PERIPHERAL)
        change_word(work, "pen plotter", retired=True)
        retired = newest(work, ObjectKind.VOCABULARY, PERIPHERAL)
        undone = [undo(work, each, NewUndo()) for each in (retired, meant, renamed, added)]
        back = programs.get(work, program.id)
        held = {each.word: each for each in vocabularies.words(work, PERIPHERAL)}

        assert back.peripherals == ("plotter",)
        assert held["plotter"].stands
        assert "tone box" not in held
        for each in reversed(undone):
            undo(work, each, NewUndo())
        again = {each.word: each for each in vocabularies.words(work, PERIPHERAL)}
        assert again["tone box"].meaning == "Hums."
        assert (again["pen plotter"].retired is not None, again["pen plotter"].meaning) == (
            True, "Draws."
        )  # fmt: skip


def test_a_word_in_use_is_not_taken_out(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        vocabularies.add(work, PERIPHERAL, NewTerm(word="tone box"))
        event = newest(work, ObjectKind.VOCABULARY, PERIPHERAL)
        factories.program(work, peripherals=("tone box",))

        assert refused(work, event).startswith("1 records use “tone box” by now.")
