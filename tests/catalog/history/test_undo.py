"""Undo: every edit has an inverse entry, and is refused where something later stands on it."""

import pytest
from sqlalchemy import select
from sqlmodel import col

from server.catalog import (
    condition,
    movements,
    preparing,
    programs,
    punching_start,
    tapes,
    versions,
)
from server.catalog.condition_values import NewReport, ReportChange
from server.catalog.errors import Conflict, NotAllowed, NotFound, NotSignedIn
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known
from server.catalog.history.undoing import NewUndo, undo
from server.catalog.place_values import Move
from server.catalog.program_values import (
    NewVersion,
    ProgramChange,
    ProgramQuery,
    VersionChange,
)
from server.catalog.tape_values import TapeChange
from server.catalog.terms import Vocabulary
from server.catalog.work import Role, unit_of_work
from server.store.events import Event
from tests import factories
from tests.catalog.history.steps import history, image, newest, refused, take_back, version

PERIPHERAL = Vocabulary.PERIPHERAL


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
