"""Places as a tree, where tapes are and belong, and each move of them."""

from typing import Any

import pytest
from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError

from server.catalog import events, lying, movements, place_records, places, tapes
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound, NotSignedIn
from server.catalog.events import EventType, ObjectKind
from server.catalog.place_values import (
    Missing,
    Move,
    MovementQuery,
    NewPlace,
    PlaceChange,
    PlaceKind,
    PlaceMove,
    PlaceQuery,
    PlaceRecord,
    State,
)
from server.catalog.tape_values import PageQuery, TapeChange
from server.catalog.work import Role, Work
from server.store.tables import Movement
from tests import factories

BOX = "Loft, shelf 2, box 5"


def at(work: Work, path: str) -> int:
    found = place_records.at_path(work, path)
    assert found is not None, path
    return found


def paths(work: Work, **asked: object) -> list[str]:
    found = place_records.page(work, PlaceQuery.model_validate(asked))
    return [row.path for row in found.rows]


def moves(work: Work, number: str) -> list[tuple[str, str]]:
    """From where to where a tape went, the first move first."""
    found = movements.page(work, MovementQuery(tape=number)).rows
    return [(each.from_where, each.to_where) for each in reversed(found)]


def numbers(work: Work, path: str) -> list[str]:
    found = lying.within_place(work, at(work, path), PageQuery()).rows
    return [row.accession_number for row in found]


def fill(engine: Engine) -> Engine:
    """Three tapes in two boxes of one shelf."""
    with factories.acting(engine) as work:
        for number, place in (
            ("1979.1", BOX),
            ("1979.2", BOX),
            ("1979.3", "Loft, shelf 2, box 11"),
        ):
            factories.tape(work, accession_number=number, place=place)
    return engine


@pytest.fixture
def shelves(sqlite_engine: Engine) -> Engine:
    return fill(sqlite_engine)


@pytest.fixture
def on_both(engine: Engine) -> Engine:
    """The same on either database, for what it does itself."""
    return fill(engine)


def test_a_written_place_becomes_a_tree_in_the_order_in_which_people_count(on_both):
    with factories.acting(on_both) as work:
        assert paths(work) == ["Loft", "Loft, shelf 2", BOX, "Loft, shelf 2, box 11"]
        shelf = place_records.get(work, at(work, "loft,  SHELF 02"))
        assert (shelf.kind, [each.path for each in shelf.on]) == (PlaceKind.SHELF, ["Loft"])
        assert [(each.name, each.kind, each.here) for each in shelf.inside] == [
            ("box 5", PlaceKind.BOX, 2), ("box 11", PlaceKind.BOX, 1),
        ]  # fmt: skip
        assert (shelf.here, shelf.within) == (0, 3)
        assert paths(work, q="BOX 11") == ["Loft, shelf 2, box 11"]


def test_names_that_begin_alike_are_not_taken_for_what_is_in_them(engine):
    with factories.acting(engine) as work:
        for number, place in (("1979.1", "Box 1"), ("1979.2", "Box 1a"), ("1979.3", "Box 1, tin")):
            factories.tape(work, accession_number=number, place=place)
        assert numbers(work, "Box 1") == ["1979.1", "1979.3"]
        movements.move_place(work, at(work, "Box 1"), PlaceMove(parent=at(work, "Box 1a")))
        assert [tapes.get(work, f"1979.{n}").place for n in (1, 2, 3)] == [
            "Box 1a, Box 1", "Box 1a", "Box 1a, Box 1, tin",
        ]  # fmt: skip


def test_a_tape_that_is_moved_keeps_where_it_belongs_until_that_is_said(shelves):
    with factories.acting(shelves, Role.VOLUNTEER) as work:
        movements.put(work, Move(tapes=("1979.1",), written="Punch table", why="To be read"))
        there = movements.of(work, "1979.1")
        assert (there.state, there.written) == (State.PLACED, "Punch table")
        assert there.usual is not None
        assert (there.usual.path, there.is_away) == (BOX, True)
        assert [each.accession_number for each in lying.away_from(work, at(work, "Loft"))] == [
            "1979.1"
        ]
        movements.put(work, Move(tapes=("1979.1",), written="punch TABLE", usual=True))
        assert not movements.of(work, "1979.1").is_away
        assert moves(work, "1979.1") == [("", BOX), (BOX, "Punch table")]
    with factories.acting(shelves) as work:
        log = events.of(work, ObjectKind.TAPE, "1979.1")[0]
        assert (log.type, log.outcome) == (EventType.MOVEMENT, "placed")
        assert log.detail == f"from {BOX} to Punch table: To be read"
        assert tapes.get(work, "1979.1").revision == 2


def test_a_box_takes_its_tapes_along_with_one_event_each(on_both):
    with factories.acting(on_both) as work:
        places.create(work, NewPlace(name="Cellar", kind=PlaceKind.ROOM))
        box = at(work, BOX)
        movements.move_place(work, box, PlaceMove(parent=at(work, "Cellar"), why="Damp roof"))
        for number in ("1979.1", "1979.2"):
            assert tapes.get(work, number).place == "Cellar, box 5"
            assert moves(work, number)[-1] == (BOX, "Cellar, box 5")
            log = events.of(work, ObjectKind.TAPE, number)
            assert [each.type for each in log] == [EventType.MOVEMENT, EventType.ACCESSION]
            assert not movements.of(work, number).is_away
        assert tapes.get(work, "1979.3").place == "Loft, shelf 2, box 11"
        assert moves(work, "1979.3") == [("", "Loft, shelf 2, box 11")]
        newest = movements.page(work, MovementQuery(place=box)).rows[0]
        assert newest.with_place is not None
        assert (newest.with_place.path, newest.why) == ("Cellar, box 5", "Damp roof")
        assert paths(work) == [
            "Cellar", "Cellar, box 5", "Loft", "Loft, shelf 2", "Loft, shelf 2, box 11"
        ]  # fmt: skip


def test_a_place_cannot_stand_in_itself_nor_be_moved_to_where_it_is(shelves):
    with factories.acting(shelves) as work:
        loft, shelf = at(work, "Loft"), at(work, "Loft, shelf 2")
        for place, parent in ((loft, shelf), (loft, loft), (shelf, loft), (loft, None)):
            with pytest.raises(Invalid):
                movements.move_place(work, place, PlaceMove(parent=parent))


def test_a_missing_tape_is_in_no_place_until_it_is_found(shelves):
    with factories.acting(shelves, Role.VOLUNTEER) as work:
        movements.mark_missing(work, Missing(tapes=("1979.2",), why="Not in its box"))
        lost = movements.of(work, "1979.2")
        assert (lost.state, lost.place, lost.is_away) == (State.MISSING, None, True)
        assert tapes.get(work, "1979.2").place == "missing"
        assert lying.in_no_place(work) == (1, 0)
        assert numbers(work, "Loft") == ["1979.1", "1979.3"]
        movements.put(work, Move(tapes=("1979.2",), place=at(work, BOX), why="Behind the box"))
        assert moves(work, "1979.2") == [("", BOX), (BOX, "missing"), ("missing", BOX)]


def test_the_description_of_a_tape_moves_it_too(shelves):
    with factories.acting(shelves) as work:
        changed = tapes.change(work, "1979.1", TapeChange(place="missing", notes="Lid is gone."))
        assert (changed.place, changed.revision) == ("missing", 2)
        assert tapes.change(work, "1979.1", TapeChange(place="")).place == ""
        assert movements.of(work, "1979.1").state == State.UNKNOWN
        with pytest.raises(Invalid, match="loan"):
            tapes.change(work, "1979.1", TapeChange(place="on loan"))


def test_a_place_that_is_renamed_is_renamed_wherever_it_is_written_and_nothing_moved(shelves):
    with factories.acting(shelves) as work:
        loft = at(work, "Loft")
        renamed = places.change(work, loft, PlaceChange(name="Net loft", note="Ask Maud"), 1)
        assert (renamed.path, renamed.note, renamed.revision) == ("Net loft", "Ask Maud", 2)
        tape = tapes.get(work, "1979.1")
        assert (tape.place, tape.revision) == (f"Net {BOX[0].lower()}{BOX[1:]}", 2)
        assert len(moves(work, "1979.1")) == 1
        with pytest.raises(Conflict, match="changed since"):
            places.change(work, loft, PlaceChange(name="Attic"), 1)


def test_two_places_of_one_name_stand_beside_each_other_nowhere(on_both):
    with factories.acting(on_both) as work:
        shelf = at(work, "Loft, shelf 2")
        for attempt in (
            lambda: places.create(work, NewPlace(name="Box 05", kind=PlaceKind.BOX, parent=shelf)),
            lambda: places.change(work, at(work, BOX), PlaceChange(name="box 11")),
        ):
            with pytest.raises(Conflict, match="already"):
                attempt()
        elsewhere = places.create(work, NewPlace(name="Box 5", kind=PlaceKind.BOX))
        assert elsewhere.path == "Box 5"


@pytest.mark.parametrize("name", ["Shelf, left", "missing", "On  Loan", ""])
def test_some_names_are_no_names_of_places(name):
    with pytest.raises(Invalid):
        NewPlace.of({"name": name, "kind": "box"})


def test_a_path_that_no_list_could_show_is_refused(shelves):
    with factories.acting(shelves) as work:
        long = NewPlace(name="x" * 195, kind=PlaceKind.BOX, parent=at(work, "Loft"))
        with pytest.raises(Invalid, match="200"):
            places.create(work, long)
        with pytest.raises(Invalid):
            places.written(work, " , ")


def test_a_place_is_closed_once_nothing_is_or_belongs_there(shelves):
    with factories.acting(shelves) as work:
        box = at(work, "Loft, shelf 2, box 11")
        with pytest.raises(Conflict, match="tapes are or belong here"):
            places.close(work, box)
        with pytest.raises(Conflict, match="in use"):
            places.close(work, at(work, "Loft"))
        movements.put(work, Move(tapes=("1979.3",), written=BOX, usual=True))
        assert places.close(work, box).closed is not None
        assert "Loft, shelf 2, box 11" not in paths(work) + list(place_records.offered(work))
        assert "Loft, shelf 2, box 11" in paths(work, closed=True)
        with pytest.raises(Conflict, match="closed"):
            movements.put(work, Move(tapes=("1979.3",), place=box))
        with pytest.raises(Conflict, match="closed already"):
            places.close(work, box)
        assert places.reopen(work, box).closed is None


def test_who_may_do_what_with_places(shelves):
    with factories.acting(shelves, Role.VOLUNTEER) as work:
        loft = at(work, "Loft")
        assert places.change(work, loft, PlaceChange(note="Mind the step")).note == "Mind the step"
        for refused in (
            lambda: places.change(work, loft, PlaceChange(name="Attic")),
            lambda: places.close(work, loft),
            lambda: places.reopen(work, loft),
        ):
            with pytest.raises(NotAllowed):
                refused()
    with factories.acting(shelves, Role.VISITOR) as work:
        asked: tuple[Any, ...] = (
            lambda: place_records.get(work, loft),
            lambda: place_records.page(work, PlaceQuery()),
            lambda: movements.page(work, MovementQuery()),
            lambda: lying.all_within(work, loft),
            lambda: movements.put(work, Move(tapes=("1979.1",), written="My bag")),
            lambda: movements.mark_missing(work, Missing(tapes=("1979.1",))),
        )
        for attempt in asked:
            with pytest.raises(NotSignedIn):
                attempt()


def test_what_there_is_not_is_named(shelves):
    with factories.acting(shelves) as work:
        for attempt, kind in (
            (lambda: place_records.get(work, 99), NotFound),
            (lambda: place_records.get(work, 2**40), NotFound),
            (lambda: movements.put(work, Move(tapes=("1901.1",), written=BOX)), NotFound),
            (lambda: movements.put(work, Move(tapes=("1979.1",), place=99)), Invalid),
            (lambda: movements.put(work, Move(tapes=("1979.1",), written="missing")), Invalid),
        ):
            with pytest.raises(kind):
                attempt()


def test_several_are_moved_all_or_none(shelves):
    with pytest.raises(NotFound), factories.acting(shelves) as work:
        movements.put(work, Move(tapes=("1979.1", "1901.1"), written="Punch table"))
    with factories.acting(shelves) as work:
        assert numbers(work, BOX) == ["1979.1", "1979.2"]
        assert place_records.at_path(work, "Punch table") is None


def test_a_movement_once_kept_is_never_changed(on_both):
    with factories.acting(on_both) as work:
        kept = work.session.get_one(Movement, 1)
        kept.to_where = "elsewhere"
        with pytest.raises(IntegrityError):
            work.session.flush()
        work.session.rollback()
        work.session.delete(work.session.get_one(Movement, 1))
        with pytest.raises(IntegrityError):
            work.session.flush()
        work.session.rollback()


def test_a_place_is_a_record_as_it_was_made(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        made = places.create(work, NewPlace(name=" Porch ", kind=PlaceKind.ROOM, note="Cold"))
    assert isinstance(made, PlaceRecord)
    assert (made.name, made.note, made.on, made.inside, made.within) == ("Porch", "Cold", (), (), 0)
