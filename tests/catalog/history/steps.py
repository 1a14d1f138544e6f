"""What the tests of histories share: the newest entry, undoing it, and things to do it to."""

import pytest
from sqlalchemy import select
from sqlmodel import col

from server.catalog import (
    programs,
)
from server.catalog.errors import Conflict
from server.catalog.held import known
from server.catalog.history import entries
from server.catalog.history.entries import HistoryQuery
from server.catalog.history.undoing import NewUndo, undo
from server.catalog.program_values import (
    NewVersion,
)
from server.catalog.terms import Vocabulary
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
