"""Several entries at once: done where it can be, refused with the reason where it cannot."""

from datetime import date

import pytest
from sqlalchemy import Engine

from server.catalog import bulk_actions, condition, events, own_list, tapes
from server.catalog.bulk_actions import ACTIONS, Doing, Summary
from server.catalog.condition_values import NewReport
from server.catalog.errors import Invalid, NotFound, NotSignedIn
from server.catalog.events import EventType, ObjectKind
from server.catalog.queues import QUEUES
from server.catalog.vocabulary import Condition
from server.catalog.work import VISITOR, Actor, Role, unit_of_work
from tests import factories

NUMBERS = ("1979.1", "1979.2", "1979.3")


@pytest.fixture
def ada(engine: Engine) -> Actor:
    with factories.acting(engine) as work:
        for number in NUMBERS:
            factories.tape(work, accession_number=number, condition=Condition.GOOD, place="Box 1")
    return factories.person(engine, Role.VOLUNTEER, "Ada")


def do(
    engine: Engine,
    actor: Actor,
    name: str,
    *keys: str,
    value: str = "",
    queue: str = "no-report",
) -> Summary:
    with unit_of_work(engine, actor) as work:
        return bulk_actions.carry_out(work, name, keys, Doing(QUEUES[queue], value, 5))


def logged(engine: Engine, number: str) -> list[EventType]:
    """What was logged of a tape since it came, newest first."""
    with unit_of_work(engine, writes=False) as work:
        return [each.type for each in events.of(work, ObjectKind.TAPE, number)][:-1]


def test_several_are_put_on_a_list_with_one_event_each(engine, ada):
    summary = do(engine, ada, "put-on", *NUMBERS, "1979.2")

    assert (summary.done, summary.refused) == (NUMBERS, ())
    assert [logged(engine, number) for number in NUMBERS] == [[EventType.OWN_LIST]] * 3
    with unit_of_work(engine, ada, writes=False) as work:
        assert own_list.count(work, 5) == 3


def test_those_that_cannot_are_refused_with_the_reason_and_the_others_done(engine, ada):
    do(engine, ada, "put-on", "1979.2")
    summary = do(engine, ada, "put-on", *NUMBERS, "1979.9")
    refused = {each.key: each.why for each in summary.refused}

    assert summary.done == ("1979.1", "1979.3")
    assert refused.keys() == {"1979.2", "1979.9"}
    assert refused["1979.2"].startswith("It is on your list already.")
    assert "no tape 1979.9" in refused["1979.9"]

    summary = do(engine, ada, "take-off", *NUMBERS)
    assert (summary.done, summary.refused) == (NUMBERS, ())


def test_a_place_is_set_with_one_event_a_tape(engine, ada):
    summary = do(engine, ada, "place", *NUMBERS[:2], value=" Shelf 4 ", queue="unread")

    assert summary.done == NUMBERS[:2]
    with unit_of_work(engine, writes=False) as work:
        assert [tapes.get(work, each).place for each in NUMBERS] == ["Shelf 4", "Shelf 4", "Box 1"]
    assert logged(engine, "1979.1") == [EventType.MOVEMENT]
    assert do(engine, ada, "place", "1979.1", value="x" * 201).refused[0].key == "1979.1"


def test_what_a_report_says_is_not_overruled(engine, ada):
    report = NewReport(tape="1979.2", checked_on=date(2001, 2, 3), state=Condition.WORN)
    with factories.acting(engine) as work:
        condition.log(work, report)
    summary = do(engine, ada, "not-examined", *NUMBERS)

    assert summary.done == ("1979.1", "1979.3")
    assert "condition report" in summary.refused[0].why
    with unit_of_work(engine, writes=False) as work:
        found = [tapes.get(work, each).condition for each in NUMBERS]
    assert found == [Condition.NOT_EXAMINED, Condition.WORN, Condition.NOT_EXAMINED]


def test_nothing_is_done_without_a_tick_a_value_or_an_action_that_fits(engine, ada):
    with pytest.raises(Invalid, match="Nothing is ticked"):
        do(engine, ada, "put-on")
    with pytest.raises(Invalid, match="201 entries are ticked"):
        do(engine, ada, "put-on", *map(str, range(201)))
    with pytest.raises(Invalid, match="place is not given"):
        do(engine, ada, "place", "1979.1", value=" ")
    with pytest.raises(NotFound, match="no action not-examined"):
        do(engine, ada, "not-examined", "1979.1", queue="unread")
    with pytest.raises(NotFound, match="no action nonsense"):
        do(engine, ada, "nonsense", "1979.1")
    with pytest.raises(NotSignedIn):
        do(engine, VISITOR, "put-on", "1979.1")

    assert logged(engine, "1979.1") == []


def test_every_action_that_a_queue_names_exists():
    named = {name for queue in QUEUES.values() for name in queue.actions}

    assert named <= ACTIONS.keys()
    assert not any(ACTIONS[name].everywhere for name in named)
    assert {action.name for action in bulk_actions.fitting(QUEUES["kin-to-judge"])} == {
        "put-on",
        "take-off",
    }
