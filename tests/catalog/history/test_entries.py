"""The history of a record: what it tells, to whom, and what it never takes back."""

import pytest

from server.catalog import (
    tapes,
)
from server.catalog.errors import NotFound, NotSignedIn
from server.catalog.events import EventType, ObjectKind
from server.catalog.history import entries
from server.catalog.history.entries import HistoryQuery
from server.catalog.history.undoing import NewUndo, undo
from server.catalog.tape_values import TapeChange
from server.catalog.terms import Vocabulary
from server.catalog.work import Role, unit_of_work
from tests import factories
from tests.catalog.history.steps import history, refused

PERIPHERAL = Vocabulary.PERIPHERAL


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
