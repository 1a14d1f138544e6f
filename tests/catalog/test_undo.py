"""Undo: every edit has an inverse entry, and is refused where something later stands on it."""

import pytest
from sqlalchemy import select
from sqlmodel import col

from server.catalog import (
    condition,
    links,
    movements,
    preparing,
    program_merging,
    program_splitting,
    programs,
    punching_start,
    tapes,
    versions,
    vocabularies,
)
from server.catalog.condition_values import NewReport, ReportChange
from server.catalog.errors import Conflict, Moved, NotAllowed, NotFound, NotSignedIn
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known
from server.catalog.history import entries
from server.catalog.history.entries import HistoryQuery
from server.catalog.history.undoing import NewUndo, undo
from server.catalog.place_values import Move
from server.catalog.program_merging import NewProgramMerge
from server.catalog.program_splitting import NewSplit
from server.catalog.program_values import (
    NewLink,
    NewVersion,
    ProgramChange,
    ProgramQuery,
    VersionChange,
)
from server.catalog.tape_values import TapeChange
from server.catalog.terms import NewTerm, TermChange, Vocabulary
from server.catalog.work import Role, Work, unit_of_work
from server.store.events import Event
from tests import factories

PERIPHERAL = Vocabulary.PERIPHERAL


def newest(work, kind, key):
    """The newest entry on a record that is no part of another one."""
    work.session.flush()
    rows = work.session.scalars(
        select(Event).where(col(Event.object_kind) == kind, col(Event.object_key) == str(key))
    ).all()
    return max(known(row.id) for row in rows if "part_of" not in row.facts)


def take_back(work, kind, key, note=""):
    return undo(work, newest(work, kind, key), NewUndo(note=note))


def refused(work, event_id):
    with pytest.raises(Conflict) as refusal:
        undo(work, event_id, NewUndo())
    return refusal.value.what


def image(work, *lines):
    return factories.upload(work, factories.text_tape(*lines or ("10 END",))).image.sha256


def version(work, program, label, *lines):
    sha256 = image(work, *lines)
    programs.add_version(work, program.id, NewVersion(label=label, sha256=sha256, note="n"))
    return sha256


def history(work, kind, key, **query):
    return entries.of(work, kind, str(key), HistoryQuery.of(query)).page.rows


def test_a_change_of_a_tape_is_undone_by_an_entry_that_says_what_it_corrects(engine):
    with factories.acting(engine) as work:
        number = factories.tape(work, notes="In the red box.").accession_number
        tapes.change(work, number, TapeChange(notes="In the blue box.", title="Tides"))
        event = newest(work, ObjectKind.TAPE, number)
        entry = take_back(work, ObjectKind.TAPE, number, "wrong tape")
        tape = tapes.get(work, number)

        assert (tape.title, tape.notes, tape.revision) == ("Tide table", "In the red box.", 3)
        said = history(work, ObjectKind.TAPE, number)[0]
        assert (said.id, said.corrects, said.after["notes"]) == (entry, event, "In the red box.")
        assert "wrong tape" in said.detail
        assert refused(work, event) == f"Entry {entry} undid it already."


def test_what_was_undone_can_be_done_again(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        program = factories.program(work)
        programs.change(work, program.id, ProgramChange(memory="4 KB"))
        first = newest(work, ObjectKind.PROGRAM, program.id)
        undoing = take_back(work, ObjectKind.PROGRAM, program.id)
        undo(work, undoing, NewUndo())

        assert programs.get(work, program.id).memory == "4 KB"
        undo(work, first, NewUndo())
        assert programs.get(work, program.id).memory == ""


def test_a_change_on_which_a_later_one_stands_is_not_undone(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        number = factories.tape(work).accession_number
        tapes.change(work, number, TapeChange(notes="one", title="Tides"))
        event = newest(work, ObjectKind.TAPE, number)
        tapes.change(work, number, TapeChange(notes="two"))
        later = newest(work, ObjectKind.TAPE, number)

        assert "“notes” was changed again since" in refused(work, event)
        assert f"entry {later}" in refused(work, event)
        undo(work, later, NewUndo())
        undo(work, event, NewUndo())
        assert (tapes.get(work, number).notes, tapes.get(work, number).title) == ("", "Tide table")


def test_a_tape_is_renumbered_back_and_its_history_is_one(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.4")
        tapes.change(work, "1978.4", TapeChange(accession_number="1979.1"))
        told = history(work, ObjectKind.TAPE, "1979.1")
        event = next(each.id for each in told if "accession_number" in each.after)
        undo(work, event, NewUndo())

        assert tapes.get(work, "1978.4").accession_number == "1978.4"
        assert {each.key for each in history(work, ObjectKind.TAPE, "1978.4")} == {
            "1978.4", "1979.1"
        }  # fmt: skip


def test_undoing_asks_for_the_role_of_the_edit(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        program = factories.program(work)
        one, two = (factories.tape(work, program=program.id) for _ in range(2))
        tapes.change(work, one.accession_number, TapeChange(program=None))
        moved = newest(work, ObjectKind.TAPE, one.accession_number)
        tapes.change(work, two.accession_number, TapeChange(notes="x"))
        noted = newest(work, ObjectKind.TAPE, two.accession_number)
        changed = programs.change(work, program.id, ProgramChange(memory="1 KB"))
        event = newest(work, ObjectKind.PROGRAM, changed.id)
    with factories.acting(sqlite_engine, Role.VOLUNTEER) as work:
        undo(work, noted, NewUndo())
        undo(work, moved, NewUndo())
        with pytest.raises(NotAllowed):
            undo(work, event, NewUndo())
        assert tapes.get(work, one.accession_number).program == program.id
        assert "role archivist" in history(work, ObjectKind.PROGRAM, program.id)[0].refusal
    with unit_of_work(sqlite_engine) as work, pytest.raises(NotSignedIn):
        undo(work, event, NewUndo())


def test_only_an_archivist_puts_a_tape_back_to_another_program(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        one, two = factories.program(work), factories.program(work, title="Two")
        number = factories.tape(work, program=one.id).accession_number
        tapes.change(work, number, TapeChange(program=two.id))
        event = newest(work, ObjectKind.TAPE, number)
    with factories.acting(sqlite_engine, Role.VOLUNTEER) as work, pytest.raises(NotAllowed):
        undo(work, event, NewUndo())


def test_a_program_entered_by_mistake_is_withdrawn_and_brought_back(engine):
    with factories.acting(engine) as work:
        program = factories.program(work, title="Moonrise")
        entry = take_back(work, ObjectKind.PROGRAM, program.id)
        with pytest.raises(NotFound) as gone:
            programs.get(work, program.id)

        assert "withdrawn" in gone.value.what
        assert programs.page(work, ProgramQuery(q="Moonrise")).total == 0
        assert programs.titled(work, "Moonrise") == ()
        assert len(history(work, ObjectKind.PROGRAM, program.id)) == 2
        undo(work, entry, NewUndo())
        assert programs.page(work, ProgramQuery(q="Moonrise")).total == 1


def test_a_program_that_has_something_is_not_withdrawn(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        program = factories.program(work)
        event = newest(work, ObjectKind.PROGRAM, program.id)
        factories.tape(work, program=program.id)

        assert "has tapes by now" in refused(work, event)


def test_a_version_is_taken_out_and_put_in_again_with_all_that_was_said_of_it(engine):
    with factories.acting(engine) as work:
        program = factories.program(work)
        sha256 = version(work, program, "1")
        added = newest(work, ObjectKind.PROGRAM, program.id)
        held = programs.get(work, program.id).versions[0]
        told = VersionChange(label="first", faults="Loops.")
        versions.change(work, program.id, held.id, told, held.revision)
        entry = undo(work, added, NewUndo())
        assert programs.get(work, program.id).versions == ()
        undo(work, entry, NewUndo())
        after = programs.get(work, program.id).versions[0]

        assert (after.label, after.note, after.faults, after.sha256) == (
            "first", "n", "Loops.", sha256
        )  # fmt: skip
        assert programs.page(work, ProgramQuery(q="Loops")).total == 1


def test_a_version_from_which_was_punched_stays(sqlite_engine):

    with factories.acting(sqlite_engine) as work:
        program = factories.program(work)
        sha256 = factories.upload(work, factories.hex_tape()).image.sha256
        programs.add_version(work, program.id, NewVersion(label="1", sha256=sha256))
        event = newest(work, ObjectKind.PROGRAM, program.id)
        how = preparing.of_words({})
        prepared = preparing.prepare(work, sha256, how)
        held = programs.get(work, program.id).versions[0]
        punching_start.begin(work, sha256, how, prepared, held.id)

        assert refused(work, event) == "Version 1 stays: tapes were punched from it."


def test_what_is_said_of_a_version_is_changed_back(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        program = factories.program(work)
        version(work, program, "1")
        held = programs.get(work, program.id).versions[0]
        versions.change(work, program.id, held.id, VersionChange(label="one", note="faster"))
        with pytest.raises(Conflict):
            versions.change(work, program.id, held.id, VersionChange(note="x"), held.revision)
        event = newest(work, ObjectKind.PROGRAM, program.id)
        assert history(work, ObjectKind.PROGRAM, program.id)[0].after["label"] == "one"
        undo(work, event, NewUndo())

        after = programs.get(work, program.id).versions[0]
        assert (after.label, after.note, after.revision) == ("1", "n", 3)


def test_a_link_is_seen_from_both_sides_and_undone_from_where_it_begins(engine):
    with factories.acting(engine) as work:
        one, two = factories.program(work, title="One"), factories.program(work, title="Two")
        links.add(work, two.id, NewLink(kind="continues", other=one.id, note="by the same"))
        seen = programs.get(work, one.id).links[0]
        event = newest(work, ObjectKind.PROGRAM, two.id)
        part = history(work, ObjectKind.PROGRAM, one.id)[0]

        assert (seen.words, seen.title, seen.made_here) == ("continued by", "Two", False)
        assert part.refusal == f"It came with entry {event}: undo that."
        entry = undo(work, event, NewUndo())
        assert programs.get(work, one.id).links == ()
        undo(work, entry, NewUndo())
        assert programs.get(work, two.id).links[0].note == "by the same"


@pytest.mark.parametrize("kind", ["continues", "adaptation of", "translation of"])
def test_a_program_does_not_come_after_what_comes_after_it(sqlite_engine, kind):
    with factories.acting(sqlite_engine) as work:
        ids = [factories.program(work, title=f"P{n}").id for n in range(3)]
        links.add(work, ids[1], NewLink(kind="continues", other=ids[0]))
        links.add(work, ids[2], NewLink(kind="adaptation of", other=ids[1]))
        with pytest.raises(Conflict):
            links.add(work, ids[0], NewLink(kind=kind, other=ids[2]))
        links.add(work, ids[0], NewLink(kind="uses", other=ids[2]))


def test_an_image_put_to_the_wrong_tape_is_taken_off_and_its_reading_stays(engine):
    with factories.acting(engine) as work:
        sha256 = image(work)
        number = factories.tape(work).accession_number
        tapes.attach(work, number, sha256)
        entry = take_back(work, ObjectKind.TAPE, number)
        off = tapes.get(work, number)
        undo(work, entry, NewUndo())

        assert (off.image, off.readings) == (None, ())
        assert len(tapes.get(work, number).readings) == 1


REPORT = {"tape": "1978.1", "checked_on": "2026-05-04", "state": "fragile"}


def test_a_report_on_the_wrong_tape_is_taken_back_and_says_nothing_any_more(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.1")
        condition.log(work, NewReport.of(REPORT | {"state": "good", "checked_on": "2025-01-01"}))
        report = condition.log(work, NewReport.of(REPORT | {"handling": "do not run"}))
        work.session.flush()
        assert tapes.get(work, "1978.1").condition == "fragile"
        found = select(Event).where(col(Event.type) == EventType.CONDITION)
        event = max(known(row.id) for row in work.session.scalars(found))
        entry = undo(work, event, NewUndo(note="that was 1978.2"))
        work.session.expire_all()

        assert tapes.get(work, "1978.1").condition == "good"
        assert condition.get(work, report.id).withdrawn is not None
        assert condition.page(work, "1978.1").total == 1
        undo(work, entry, NewUndo())
        assert tapes.get(work, "1978.1").condition == "fragile"


def test_a_report_taken_back_is_left_out_of_what_the_database_repeats_of_it(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.1")
        condition.log(work, NewReport.of(REPORT | {"handling": "do not run"}))
        take_back(work, ObjectKind.TAPE, "1978.1")
    with factories.acting(engine) as work:
        from server.catalog.held import tape_of

        row = tape_of(work, "1978.1")
        assert (row.last_report, row.reported_unfit, row.condition) == (
            None, False, "not examined"
        )  # fmt: skip


def test_an_amendment_of_a_report_is_undone_by_its_author_or_an_archivist(sqlite_engine):
    author = factories.person(sqlite_engine, Role.VOLUNTEER)
    other = factories.person(sqlite_engine, Role.VOLUNTEER, "another one")
    with unit_of_work(sqlite_engine, author) as work:
        factories.tape(work, accession_number="1978.1")
        report = condition.log(work, NewReport.of(REPORT))
        condition.amend(work, report.id, ReportChange.of({"checked_on": "2026-05-03"}))
        event = newest(work, ObjectKind.REPORT, report.id)
    with unit_of_work(sqlite_engine, other) as work, pytest.raises(NotAllowed):
        undo(work, event, NewUndo())
    with unit_of_work(sqlite_engine, author) as work:
        undo(work, event, NewUndo())
        assert str(condition.get(work, report.id).checked_on) == "2026-05-04"


def test_a_tape_is_moved_back_unless_it_was_moved_again(engine):
    with factories.acting(engine) as work:
        number = factories.tape(work, place="Room, Shelf 1").accession_number
        movements.put(work, Move.of({"tapes": [number], "written": "Room, Shelf 2"}))
        first = newest(work, ObjectKind.TAPE, number)
        movements.put(work, Move.of({"tapes": [number], "written": "Room, Shelf 3"}))
        assert "moved again since" in refused(work, first)
        take_back(work, ObjectKind.TAPE, number)
        assert tapes.get(work, number).place == "Room, Shelf 2"
        undo(work, first, NewUndo())

        assert tapes.get(work, number).place == "Room, Shelf 1"


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


def merged(work: Work):
    """Two programs with versions, tapes and links, the second merged into the first."""
    one = factories.program(work, title="Tides", memory="8 KB")
    two = factories.program(work, title="High water", language="BASIC", variant_titles=("HW",))
    third = factories.program(work, title="Almanac")
    version(work, one, "1", "10 REM ONE", "20 END")
    shas = [
        version(work, two, "1", "10 REM TWO", "20 PRINT 2", "30 END"),
        version(work, two, "2", "5 X=1", "6 END"),
    ]
    number = factories.tape(work, program=two.id).accession_number
    links.add(work, two.id, NewLink(kind="uses", other=third.id))
    links.add(work, two.id, NewLink(kind="continues", other=one.id))
    program_merging.merge(work, two.id, NewProgramMerge(into=one.id, note="the same"))
    return one, two, third, shas, number


def test_a_merged_program_gives_all_it_has_to_the_other_and_leads_there(engine):
    with factories.acting(engine) as work:
        one, two, third, shas, number = merged(work)
        after = programs.get(work, one.id)
        with pytest.raises(Moved) as elsewhere:
            programs.get(work, two.id)
        told = history(work, ObjectKind.PROGRAM, one.id)

        assert [each.label for each in after.versions] == ["2", "1 (High water)", "1"]
        assert {each.sha256 for each in after.versions} > set(shas)
        assert (after.language, after.memory) == ("BASIC", "8 KB")
        assert after.variant_titles == ("High water", "HW")
        assert [(each.words, each.program) for each in after.links] == [("uses", third.id)]
        assert [each.accession_number for each in after.tapes] == [number]
        assert elsewhere.value.path_of(f"/programs/{two.id}/family") == f"/programs/{one.id}/family"
        assert programs.page(work, ProgramQuery(q="High water")).total == 1
        assert {each.key for each in told} == {str(one.id), str(two.id)}


def test_a_merge_is_undone_as_if_it_had_not_been(engine):
    with factories.acting(engine) as work:
        one, two, third, shas, number = merged(work)
        entry = take_back(work, ObjectKind.PROGRAM, one.id)
        first, second = programs.get(work, one.id), programs.get(work, two.id)

        assert ([each.label for each in first.versions], first.language) == (["1"], "")
        assert first.variant_titles == ()
        assert [(each.label, each.sha256) for each in second.versions] == [
            ("2", shas[1]), ("1", shas[0])
        ]  # fmt: skip
        assert {(each.words, each.program) for each in second.links} == {
            ("uses", third.id), ("continues", one.id)
        }  # fmt: skip
        assert tapes.get(work, number).program == two.id
        assert programs.page(work, ProgramQuery(q="High water")).total == 1
        undo(work, entry, NewUndo())
        assert len(programs.get(work, one.id).versions) == 3


def test_a_merge_on_which_something_stands_is_not_undone(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        one, _, third, _, number = merged(work)
        event = newest(work, ObjectKind.PROGRAM, one.id)
        tapes.change(work, number, TapeChange(program=third.id))
        assert refused(work, event) == f"Tape {number} does not carry Tides any more."
        take_back(work, ObjectKind.TAPE, number)
        programs.change(work, one.id, ProgramChange(language="FORTRAN"))
        assert "“language” was changed again since" in refused(work, event)
        take_back(work, ObjectKind.PROGRAM, one.id)
        held = programs.get(work, one.id).versions[0]
        versions.change(work, one.id, held.id, VersionChange(label="two"))
        assert refused(work, event).startswith("Version 2 of Tides was changed")


def test_two_versions_of_one_image_become_one_and_are_two_again(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        one, two = factories.program(work, title="One"), factories.program(work, title="Two")
        version(work, one, "1")
        version(work, two, "first")
        program_merging.merge(work, two.id, NewProgramMerge(into=one.id))
        assert [each.label for each in programs.get(work, one.id).versions] == ["1"]
        take_back(work, ObjectKind.PROGRAM, one.id)

        assert [each.label for each in programs.get(work, two.id).versions] == ["first"]


def test_programs_that_others_may_see_are_not_merged(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        one = factories.program(work, title="One")
        two = factories.program(work, title="Two", access="restricted")
        with pytest.raises(Conflict):
            program_merging.merge(work, two.id, NewProgramMerge(into=one.id))


def split(work):
    source = factories.program(work, title="Tides", language="BASIC")
    shas = [version(work, source, label, f"10 REM {label}", "20 END") for label in ("1", "2")]
    numbers = [factories.tape(work, program=source.id).accession_number for _ in range(2)]
    second = programs.get(work, source.id).versions[0]
    new = NewSplit(title="Moon", versions=(second.id,), tapes=(numbers[1],))
    return source, program_splitting.split(work, source.id, new), shas, numbers


def test_a_split_gives_a_program_of_its_own_and_both_histories_say_so(engine):
    with factories.acting(engine) as work:
        source, new, shas, numbers = split(work)
        left = programs.get(work, source.id)

        assert ([each.sha256 for each in new.versions], new.language) == ([shas[1]], "BASIC")
        assert [each.accession_number for each in new.tapes] == [numbers[1]]
        assert [each.sha256 for each in left.versions] == [shas[0]]
        assert [each.accession_number for each in left.tapes] == [numbers[0]]
        for each in (source.id, new.id):
            assert "split off" in history(work, ObjectKind.PROGRAM, each)[0].detail


def test_a_split_is_undone_and_done_again(engine):
    with factories.acting(engine) as work:
        source, new, shas, numbers = split(work)
        entry = take_back(work, ObjectKind.PROGRAM, source.id)
        with pytest.raises(NotFound):
            programs.get(work, new.id)
        assert {each.sha256 for each in programs.get(work, source.id).versions} == set(shas)
        assert tapes.get(work, numbers[1]).program == source.id
        undo(work, entry, NewUndo())

        assert [each.sha256 for each in programs.get(work, new.id).versions] == [shas[1]]


def test_a_split_on_which_something_stands_is_not_undone(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        source, new, _, _ = split(work)
        event = newest(work, ObjectKind.PROGRAM, source.id)
        factories.tape(work, program=new.id)

        assert "has other versions or tapes by now" in refused(work, event)


@pytest.mark.parametrize("kind", [EventType.ACCESSION, EventType.CAPTURE])
def test_what_happened_to_a_tape_is_never_taken_back(sqlite_engine, kind):
    with factories.acting(sqlite_engine) as work:
        number = factories.tape(work).accession_number
        factories.upload(work, factories.text_tape(), tape=number)
        entry = next(each for each in history(work, ObjectKind.TAPE, number) if each.type == kind)

        assert not entry.undoable
        assert refused(work, entry.id) == entry.refusal


def test_a_history_tells_word_by_word_what_changed_and_is_narrowed(engine):
    with factories.acting(engine) as work:
        number = factories.tape(work, notes="In the red box.").accession_number
        tapes.change(work, number, TapeChange(notes="In the blue box."))
        factories.upload(work, factories.text_tape(), tape=number)
        whole = entries.of(work, ObjectKind.TAPE, number, HistoryQuery())
        some = history(work, ObjectKind.TAPE, number, type="metadata modification")
        nobody = history(work, ObjectKind.TAPE, number, by="Nobody")
        row = some[0].changes[0].rows[0]

        assert set(whole.types) == {"accession", "capture", "metadata modification"}
        assert whole.people == ("some archivist",)
        assert [each.type for each in some] == ["metadata modification"]
        assert nobody == ()
        assert [(each.kind, each.text) for each in row.left.pieces] == [
            ("equal", "In the "), ("removed", "red"), ("equal", " box.")
        ]  # fmt: skip


def test_a_history_is_for_people_who_work_here_and_private_notes_for_archivists(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        number = factories.tape(work).accession_number
        tapes.change(work, number, TapeChange(acquisition_note="Ask the widow.", title="Tides"))
    with factories.acting(sqlite_engine, Role.VOLUNTEER) as work:
        told = history(work, ObjectKind.TAPE, number)[0]
        assert ([each.field for each in told.changes], dict(told.after)) == (
            ["title"], {"title": "Tides"}
        )  # fmt: skip
    with unit_of_work(sqlite_engine) as work, pytest.raises(NotSignedIn):
        history(work, ObjectKind.TAPE, number)


@pytest.mark.parametrize(
    ("kind", "key"),
    [("tape", "1901.1"), ("program", "99"), ("program", "x"), ("condition-report", "99"),
     ("image", "0" * 64), ("vocabulary", "weather")],
)  # fmt: skip
def test_what_never_was_has_no_history(sqlite_engine, kind, key):
    with factories.acting(sqlite_engine) as work, pytest.raises(NotFound):
        history(work, ObjectKind(kind), key)


@pytest.mark.parametrize("event", [0, 99, 2**70])
def test_an_entry_that_there_is_not_is_not_undone(sqlite_engine, event):
    with factories.acting(sqlite_engine) as work, pytest.raises(NotFound):
        undo(work, event, NewUndo())
