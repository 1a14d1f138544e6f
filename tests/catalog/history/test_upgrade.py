"""History and undo survive an upgrade: a library of the release before, with what it had logged."""

from datetime import UTC, datetime

from sqlalchemy import Engine, MetaData, insert

from server.catalog import programs, tapes, terms, vocabularies
from server.catalog.events import ObjectKind
from server.catalog.history.undoing import NewUndo, undo
from server.catalog.program_values import ProgramQuery
from server.catalog.terms import Vocabulary
from server.store.migration import downgrade, migrate
from tests import factories
from tests.catalog.history.steps import history

BEFORE = "last_reports"
"""The newest revision of the release that knew neither vocabularies nor undo."""

THEN = datetime(2026, 11, 20, 9, 0, tzinfo=UTC)


def entry(kind, key, detail, facts):
    return {
        "type": "creation" if detail == "Tide table" else "metadata modification",
        "occurred_at": THEN,
        "object_kind": kind,
        "object_key": key,
        "agent": "Ada",
        "outcome": "success",
        "detail": detail,
        "facts": facts,
    }


def changed(kind, key, before, after):
    facts = {"before": before, "after": after, "revision": 2}
    return entry(kind, key, f"changed {', '.join(sorted(after))}", facts)


ENTRIES = [  # numbered from 1
    entry("program", "1", "Tide table", {}),
    changed("program", "1", {"machine": ""}, {"machine": "harbour machine, 8 KB"}),
    changed("tape", "1978.1", {"notes": "red box"}, {"notes": "blue box"}),
    changed("tape", "1978.1", {"accession_number": "1978.1"}, {"accession_number": "1978.2"}),
    entry("tape", "1978.2", "was 1978.1 before", {}),
]


def older_library(engine: Engine) -> None:
    """Fill a database as the release before wrote it."""
    downgrade(engine, BEFORE)
    told = MetaData()
    with engine.begin() as connection:
        told.reflect(connection, only=["program", "tape", "event"])
        times = {"created_at": THEN, "updated_at": THEN, "revision": 2}
        program = {"id": 1, "title": "Tide table", "language": "Lode", "description": "Tides."}
        more = {"machine": "harbour machine, 8 KB", "rights": ""}
        connection.execute(insert(told.tables["program"]), [program | more | times])
        texts = dict.fromkeys(("origin", "place", "loader_requirement"), "")
        tape = {
            "id": 1, "accession_number": "1978.2", "accession_key": "000000001978.000000000002",
            "title": "Tides", "medium": "waxed paper", "condition": "not examined",
            "notes": "blue box", "hazard": "none", "verified": 0,
        }  # fmt: skip
        connection.execute(insert(told.tables["tape"]), [tape | texts | times])
        connection.execute(insert(told.tables["event"]), ENTRIES)
    migrate(engine)


def test_what_was_logged_before_an_upgrade_is_told_and_undone_after_it(engine):
    older_library(engine)
    with factories.acting(engine) as work:
        told = history(work, ObjectKind.TAPE, "1978.2")
        rows = next(each for each in told if each.id == 3).changes[0].rows
        assert [each.id for each in history(work, ObjectKind.PROGRAM, 1)] == [2, 1]
        assert [piece.text for piece in rows[0].left.pieces] == ["red", " box"]
        done = [undo(work, each, NewUndo()) for each in (2, 3)]

        assert programs.get(work, 1).machine == ""
        assert tapes.get(work, "1978.2").notes == "red box"
        for each in done:
            undo(work, each, NewUndo())
        assert programs.get(work, 1).machine == "harbour machine, 8 KB"


def test_words_in_use_before_an_upgrade_are_words_of_the_vocabularies_after_it(engine):
    older_library(engine)
    with factories.acting(engine) as work:
        machines = {each.word: each.uses for each in vocabularies.words(work, Vocabulary.MACHINE)}

        assert machines["harbour machine, 8 KB"] == 1
        assert "Lode" in terms.words(work, Vocabulary.LANGUAGE)
        assert "waxed paper" in terms.words(work, Vocabulary.MEDIUM)
        assert programs.page(work, ProgramQuery(q="harbour machine")).total == 1
