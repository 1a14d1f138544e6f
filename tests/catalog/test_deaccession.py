"""A tape that leaves: out of lists and queues, its record and number there for ever."""

from datetime import date, timedelta

import pytest
from sqlalchemy import Engine

from server.catalog import (
    condition,
    deaccession,
    events,
    images,
    movements,
    programs,
    queues,
    search,
    tapes,
)
from server.catalog.deaccession import Departure, NewDeaccession
from server.catalog.errors import Conflict, Gone, Invalid, NotAllowed
from server.catalog.events import EventType, ObjectKind
from server.catalog.place_values import State
from server.catalog.program_values import ProgramQuery
from server.catalog.queues import held_in
from server.catalog.search_values import SearchQuery
from server.catalog.tape_values import Departed, TapeChange, TapeQuery
from server.catalog.work import Role
from tests import factories
from tests.factories import acting

NUMBER = "1978.1"
LEAVES = {
    "decided_on": date(2026, 11, 2),
    "authority": "Meeting of November",
    "reason": "We have three more.",
    "method": Departure.GIFT,
    "recipient": "The school",
    "note": "Ours to give: letter in the box file.",
}


@pytest.fixture
def left(engine: Engine) -> Engine:
    """A library of two tapes, of which the first was read, and left."""
    with acting(engine) as work:
        program = factories.program(work)
        given = {"title": "Tides", "place": "Room, Box 1", "program": program.id}
        factories.tape(work, accession_number=NUMBER, **given)
        factories.tape(work, title="Tides again", accession_number="1978.2")
        factories.upload(work, factories.text_tape(), tape=NUMBER)
        deaccession.record(work, NUMBER, NewDeaccession.of(LEAVES))
    return engine


def listed(engine: Engine, **asked: object) -> list[str]:
    with acting(engine, Role.VISITOR) as work:
        found = tapes.page(work, TapeQuery.of(asked))
        assert found.total == len(found.rows)
        return [row.accession_number for row in found.rows]


def test_tape_that_left_is_out_of_lists_unless_asked_for(left: Engine):
    assert listed(left) == ["1978.2"]
    assert listed(left, departed=Departed.TOO) == [NUMBER, "1978.2"]
    assert listed(left, departed=Departed.ONLY) == [NUMBER]
    with acting(left, Role.VISITOR) as work:
        assert tapes.page(work, TapeQuery()).facets["medium"][0].count == 1
        assert programs.get(work, 1).tapes == ()
        assert [row.tapes for row in programs.page(work, ProgramQuery()).rows] == [0]
        (hit,) = (each for each in search.find(work, SearchQuery(q=NUMBER)).hits)
        assert hit.departed


def test_tape_that_left_is_in_no_queue(left: Engine):
    with acting(left) as work:
        for name in ("single-reading", "no-report", "unread"):
            entries = held_in.page(work, queues.QUEUES[name], 5).rows
            assert NUMBER not in [entry.key for entry in entries]
        assert held_in.told(work, queues.QUEUES["no-report"], 5).count == 1


def test_nothing_of_it_is_changed_any_more(left: Engine):
    with acting(left) as work:
        sha256 = images.get(work, tapes.get(work, NUMBER).readings[0].sha256).sha256
        for change in (
            lambda: tapes.change(work, NUMBER, TapeChange(notes="More")),
            lambda: tapes.attach(work, NUMBER, sha256),
            lambda: deaccession.record(work, NUMBER, NewDeaccession.of(LEAVES)),
            lambda: condition.release(work, NUMBER, "It is dry."),
        ):
            with pytest.raises(Gone, match="left the collection on 2026-11-02"):
                change()
        with pytest.raises(Invalid):
            factories.upload(work, factories.hex_tape(), tape=NUMBER)


def test_its_image_and_its_record_stay_and_its_place_is_free(left: Engine):
    with acting(left, Role.VISITOR) as work:
        tape = tapes.get(work, NUMBER)

        assert tape.image is not None
        assert images.get(work, tape.image.sha256).accession == NUMBER
        assert tape.place == ""
        where = movements.of(work, NUMBER)
        assert (where.state, where.place, where.usual) == (State.UNKNOWN, None, None)


def test_its_number_is_given_to_no_other_tape(left: Engine):
    with acting(left) as work:
        with pytest.raises(Conflict):
            factories.tape(work, accession_number=NUMBER)
        with pytest.raises(Conflict):
            tapes.change(work, "1978.2", TapeChange(accession_number=NUMBER))


@pytest.mark.parametrize(
    ("role", "recipient", "note"),
    [
        (Role.VISITOR, None, None),
        (Role.VOLUNTEER, LEAVES["recipient"], None),
        (Role.ARCHIVIST, LEAVES["recipient"], LEAVES["note"]),
    ],
)
def test_who_has_it_is_told_to_members_and_notes_to_archivists(left, role, recipient, note):
    with acting(left, role) as work:
        (record,) = deaccession.of(work, NUMBER)

        assert (record.recipient, record.note) == (recipient, note)
        assert record.sentence == "It left the collection on 2026-11-02: given away."
        for event in events.of(work, ObjectKind.TAPE, NUMBER):
            assert "The school" not in f"{event.detail} {event.facts}"


def test_it_comes_back_by_one_more_event_and_keeps_that_it_was_away(left: Engine):
    with acting(left) as work:
        record = deaccession.take_back(work, NUMBER, "The school closed.")

        assert record.ended_why == "The school closed."
        assert record.ended is not None
        assert tapes.change(work, NUMBER, TapeChange(notes="Back")).deaccessioned_on is None
        kinds = [event.type for event in events.of(work, ObjectKind.TAPE, NUMBER)]
        assert kinds.count(EventType.ACCESSION) == 2
        assert kinds.count(EventType.DEACCESSION) == 1
        with pytest.raises(Conflict, match="is in the collection"):
            deaccession.take_back(work, NUMBER, "Once more.")
    assert listed(left) == [NUMBER, "1978.2"]


def test_only_archivists_let_a_tape_go_or_take_it_back(left: Engine):
    with acting(left, Role.VOLUNTEER) as work:
        with pytest.raises(NotAllowed):
            deaccession.record(work, "1978.2", NewDeaccession.of(LEAVES))
        with pytest.raises(NotAllowed):
            deaccession.take_back(work, NUMBER, "Found it.")


def test_decision_that_is_still_to_come_is_refused(left: Engine):
    with acting(left) as work:
        later = work.now.date() + timedelta(days=3)
        with pytest.raises(Invalid, match="still to come"):
            deaccession.record(work, "1978.2", NewDeaccession.of({**LEAVES, "decided_on": later}))
