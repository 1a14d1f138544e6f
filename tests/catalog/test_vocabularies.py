"""Controlled vocabularies: what records may be given, and what a change of words does to them."""

import pytest

from server.catalog import events, programs, tapes, terms, vocabularies
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound
from server.catalog.events import ObjectKind
from server.catalog.program_values import ProgramChange, ProgramQuery
from server.catalog.tape_values import TapeChange
from server.catalog.terms import NewTerm, TermChange, Vocabulary
from server.catalog.vocabulary import Medium
from server.catalog.work import Role
from tests import factories

LANGUAGE, MEDIUM = Vocabulary.LANGUAGE, Vocabulary.MEDIUM


def word_of(work, word, vocabulary=LANGUAGE):
    return next(each for each in vocabularies.words(work, vocabulary) if each.word == word)


def change(work, name, vocabulary=LANGUAGE, **given):
    held = word_of(work, name, vocabulary)
    return vocabularies.change(work, vocabulary, held.id, TermChange.of(given), held.revision)


def test_a_record_is_given_no_word_that_its_vocabulary_lacks(engine):
    with factories.acting(engine) as work:
        with pytest.raises(Invalid) as refused:
            factories.program(work, language="BASICK")
        with pytest.raises(Invalid):
            factories.tape(work, medium="papyrus")
        with pytest.raises(Invalid):
            factories.program(work, peripherals=("teleprinter", "toaster"))

    assert list(refused.value.fields) == ["language"]
    assert "BASIC" in refused.value.fields["language"]


def test_capitals_and_spaces_do_not_make_another_word(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        program = factories.program(work, language="basic", peripherals=("Line  Printer",))
        with pytest.raises(Conflict):
            vocabularies.add(work, LANGUAGE, NewTerm(word="Basic"))

        assert (program.language, program.peripherals) == ("BASIC", ("line printer",))


def test_a_word_is_added_and_then_records_may_have_it(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        made = vocabularies.add(work, LANGUAGE, NewTerm(word="  Lode  script ", meaning="Ours."))
        program = factories.program(work, language="lode script")
        log = events.of(work, ObjectKind.VOCABULARY, LANGUAGE)

        assert (made.word, made.meaning, program.language) == (
            "Lode script", "Ours.", "Lode script"
        )  # fmt: skip
        assert log[0].facts == {"action": "add word", "word": "Lode script"}
        assert word_of(work, "Lode script").uses == 1


def test_only_an_archivist_keeps_words(sqlite_engine):
    with factories.acting(sqlite_engine, Role.VOLUNTEER) as work:
        with pytest.raises(NotAllowed):
            vocabularies.add(work, LANGUAGE, NewTerm(word="Lode"))
        with pytest.raises(NotAllowed):
            change(work, "BASIC", meaning="x")


def test_a_renamed_word_is_renamed_in_every_record_and_its_history_says_so(engine):
    with factories.acting(engine) as work:
        program = factories.program(work, language="Pascal", peripherals=("plotter", "teleprinter"))
        change(work, "Pascal", word="Pascal of the club")
        change(work, "plotter", Vocabulary.PERIPHERAL, word="pen plotter")
        after = programs.get(work, program.id)
        log = events.of(work, ObjectKind.PROGRAM, program.id)
        found = programs.page(work, ProgramQuery(q="pen plotter")).rows

        assert after.language == "Pascal of the club"
        assert after.peripherals == ("pen plotter", "teleprinter")
        assert (log[0].facts["before"], log[0].facts["after"]) == (
            {"peripherals": ["plotter", "teleprinter"]},
            {"peripherals": ["pen plotter", "teleprinter"]},
        )
        assert after.revision == 3
        assert [row.id for row in found] == [program.id]


def test_who_still_writes_the_old_word_is_led_to_the_new_one(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        change(work, "Pascal", word="Pascal of the club")
        program = factories.program(work, language="pascal")
        with pytest.raises(Invalid):
            change(work, "Pascal", meaning="x", word="again")
        change(work, "Pascal of the club", word="Pascal")
        back = programs.get(work, program.id)

        assert (program.language, back.language) == ("Pascal of the club", "Pascal")


def test_a_merged_word_gives_its_records_the_other_one(engine):
    with factories.acting(engine) as work:
        vocabularies.add(work, MEDIUM, NewTerm(word="waxed paper"))
        tape = factories.tape(work, medium="waxed paper")
        factories.tape(work, medium="oiled paper")
        change(work, "waxed paper", MEDIUM, merged_into="oiled paper")

        assert tapes.get(work, tape.accession_number).medium == "oiled paper"
        assert word_of(work, "oiled paper", MEDIUM).uses == 2
        assert word_of(work, "waxed paper", MEDIUM).merged_into == "oiled paper"
        assert "waxed paper" not in terms.words(work, MEDIUM)


def test_a_retired_word_stays_where_it_stands_and_is_given_to_nothing_new(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        program = factories.program(work, language="COBOL")
        change(work, "COBOL", retired=True)
        kept = programs.change(work, program.id, ProgramChange(language="COBOL", memory="4 KB"))
        with pytest.raises(Invalid):
            factories.program(work, language="COBOL")
        change(work, "COBOL", retired=False)

        assert (kept.language, kept.memory) == ("COBOL", "4 KB")
        assert factories.program(work, language="COBOL").language == "COBOL"


@pytest.mark.parametrize(
    "given", [{"word": "film"}, {"retired": True}, {"merged_into": "paper"}], ids=str
)
def test_a_word_on_which_a_caution_hangs_stays_as_it_is(sqlite_engine, given):
    with factories.acting(sqlite_engine) as work, pytest.raises(Invalid):
        change(work, "polyester", MEDIUM, **given)


@pytest.mark.parametrize("into", ["BASIC", "Klingon", "FORTRAN"])
def test_a_word_is_merged_only_into_another_that_is_in_use(sqlite_engine, into):
    with factories.acting(sqlite_engine) as work:
        change(work, "FORTRAN", retired=True)
        with pytest.raises(Invalid):
            change(work, "BASIC", merged_into=into)


def test_a_word_is_not_renamed_to_one_that_there_is(sqlite_engine):
    with factories.acting(sqlite_engine) as work, pytest.raises(Conflict):
        change(work, "BASIC", word="fortran")


def test_a_stale_change_of_a_word_is_refused(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        held = word_of(work, "BASIC")
        change(work, "BASIC", meaning="Lines with numbers.")
        with pytest.raises(Conflict) as stale:
            vocabularies.change(work, LANGUAGE, held.id, TermChange(meaning="x"), held.revision)

        assert stale.value.revision == 2


def test_what_there_is_not_is_not_found(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        language = word_of(work, "BASIC").id
        with pytest.raises(NotFound):
            vocabularies.get(work, MEDIUM, language)
        with pytest.raises(NotFound):
            terms.of_name("weather")


def test_every_medium_that_the_code_names_is_a_word_to_begin_with(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        assert set(Medium) <= set(terms.words(work, MEDIUM))
        assert factories.tape(work).medium == Medium.UNKNOWN
        tape = factories.tape(work, medium="paper", colour="Yellow")
        changed = tapes.change(work, tape.accession_number, TapeChange(medium="polyester"))

        assert (changed.medium, changed.colour) == ("polyester", "yellow")
