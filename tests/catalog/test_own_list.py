"""Each person's own list: put on, taken off, and left by what is settled."""

import pytest
from sqlalchemy import Engine, func, select
from sqlmodel import col

from server.catalog import events, own_list, tapes
from server.catalog.errors import Conflict, Invalid, NotFound, NotSignedIn
from server.catalog.events import EventType, ObjectKind
from server.catalog.queues import BY_HAND, QUEUES, About, held_in
from server.catalog.tape_values import TapeChange
from server.catalog.work import COMMAND, VISITOR, Actor, Role, Work, unit_of_work
from server.store.tables import WorkItem
from tests import factories

PRIMES = [f"{10 * n} PRINT {n * n}" for n in range(1, 30)]
UNREAD = QUEUES["unread"]


@pytest.fixture
def ada(engine: Engine) -> Actor:
    with factories.acting(engine) as work:
        for number in ("1979.1", "1979.2"):
            factories.tape(work, accession_number=number)
    return factories.person(engine, Role.VOLUNTEER, "Ada")


def mine(engine: Engine, actor: Actor) -> dict[str, list[str]]:
    with unit_of_work(engine, actor, writes=False) as work:
        parts = own_list.mine(work, 5)
        counted = own_list.count(work, 5)
    listed = {part.queue.name: [entry.key for entry in part.entries] for part in parts}
    assert counted == sum(map(len, listed.values()))
    assert all(part.queue.count == len(part.entries) for part in parts)
    assert all(entry.mine for part in parts for entry in part.entries)
    return listed


def rows(engine: Engine) -> int:
    with unit_of_work(engine, writes=False) as work:
        return work.session.scalar(select(func.count()).select_from(WorkItem)) or 0


def put_on(engine: Engine, actor: Actor, queue: str, key: str) -> None:
    with unit_of_work(engine, actor) as work:
        own_list.put_on(work, QUEUES[queue], key, 5)


def test_what_is_taken_on_is_listed_by_queue_until_it_is_taken_off(engine, ada):
    put_on(engine, ada, "no-report", "1979.2")
    put_on(engine, ada, "unread", "1979.2")
    put_on(engine, ada, "unread", "1979.1")
    assert mine(engine, ada) == {"unread": ["1979.1", "1979.2"], "no-report": ["1979.2"]}

    with unit_of_work(engine, ada) as work:
        own_list.take_off(work, UNREAD, "1979.2")

    assert mine(engine, ada) == {"unread": ["1979.1"], "no-report": ["1979.2"]}


def test_what_is_settled_leaves_by_itself_and_does_not_come_back(engine, ada):
    put_on(engine, ada, "unread", "1979.1")
    put_on(engine, ada, "no-report", "1979.1")
    with factories.acting(engine) as work:
        factories.upload(work, factories.text_tape(), tape="1979.1")

    assert rows(engine) == 2
    assert mine(engine, ada) == {"no-report": ["1979.1"]}
    assert rows(engine) == 1


def test_images_and_pairs_can_be_taken_on_too(engine, ada):
    with factories.acting(engine) as work:
        first = factories.upload(work, factories.text_tape(*PRIMES), tape="1979.1").image.sha256
        second = factories.upload(work, factories.text_tape(*PRIMES, "300 END")).image.sha256
    put_on(engine, ada, "unidentified", second)
    put_on(engine, ada, "kin-to-judge", f"{second}-{first}")

    listed = mine(engine, ada)
    assert listed == {"unidentified": [second], "kin-to-judge": [f"{first}-{second}"]}
    with unit_of_work(engine, ada) as work:
        assert own_list.has(work, QUEUES["kin-to-judge"], f"{first}-{second}")
        own_list.take_off(work, QUEUES["kin-to-judge"], f"{first}-{second}")
        own_list.take_off(work, QUEUES["unidentified"], second)
    assert mine(engine, ada) == {}


def test_each_step_is_one_event_with_who_and_from_where(engine, ada):
    put_on(engine, ada, "unread", "1979.1")
    with unit_of_work(engine, ada) as work:
        own_list.take_off(work, UNREAD, "1979.1")
        off, on, _ = events.of(work, ObjectKind.TAPE, "1979.1")

    assert (on.type, on.by, on.facts["queue"]) == (EventType.OWN_LIST, "Ada", "unread")
    assert (on.detail, off.detail) == ("put on their own list: unread",
                                       "taken off their own list: unread")  # fmt: skip


def test_nothing_is_put_on_twice_or_without_being_in_the_queue(engine, ada):
    put_on(engine, ada, "unread", "1979.1")
    with pytest.raises(Conflict, match="on your list already"):
        put_on(engine, ada, "unread", "1979.1")
    with pytest.raises(Conflict, match="not in the queue damaged-checks"):
        put_on(engine, ada, "damaged-checks", "1979.1")
    with pytest.raises(NotFound):
        put_on(engine, ada, "unread", "1979.9")
    with unit_of_work(engine, ada) as work, pytest.raises(NotFound, match="not on your list"):
        own_list.take_off(work, UNREAD, "1979.2")

    assert mine(engine, ada) == {"unread": ["1979.1"]}


def test_two_people_may_take_on_the_same_and_see_it_of_each_other(engine, ada):
    bob = factories.person(engine, Role.ARCHIVIST, "Bob")
    put_on(engine, ada, "unread", "1979.1")
    put_on(engine, bob, "unread", "1979.1")

    def entry(work: Work):
        return held_in.page(work, UNREAD, 5).rows[0]

    with unit_of_work(engine, ada, writes=False) as work:
        assert (entry(work).mine, entry(work).taken_by) == (True, ("Bob",))
    with unit_of_work(engine, VISITOR, writes=False) as work:
        assert (entry(work).mine, entry(work).taken_by) == (False, ())
        assert own_list.count(work, 5) == 0


def test_a_list_is_for_volunteers_with_an_account(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number="1979.1")
    for actor, refusal in ((VISITOR, NotSignedIn), (COMMAND, NotFound)):
        with unit_of_work(sqlite_engine, actor) as work, pytest.raises(refusal):
            own_list.put_on(work, UNREAD, "1979.1", 5)
        with unit_of_work(sqlite_engine, actor) as work, pytest.raises(refusal):
            own_list.take_off(work, UNREAD, "1979.1")
    person = factories.person(sqlite_engine, Role.VOLUNTEER, "Cy")
    only_looks = Actor(person.person_id, "Cy", Role.VISITOR)
    with unit_of_work(sqlite_engine, only_looks) as work, pytest.raises(NotSignedIn):
        own_list.mine(work, 5)


def test_a_list_has_an_end(sqlite_engine, monkeypatch):
    monkeypatch.setattr(own_list, "MOST", 1)
    with factories.acting(sqlite_engine) as work:
        for number in ("1979.1", "1979.2"):
            factories.tape(work, accession_number=number)
    ada = factories.person(sqlite_engine, Role.VOLUNTEER)
    put_on(sqlite_engine, ada, "unread", "1979.1")

    with pytest.raises(Invalid, match="on your list already"):
        put_on(sqlite_engine, ada, "unread", "1979.2")


def test_a_tape_tells_its_queues_and_can_always_be_put_on_by_hand(engine, ada):
    by_hand = BY_HAND[About.TAPE]

    def queues(work: Work, number: str) -> list[str]:
        return [part.queue.name for part in own_list.queues_with(work, About.TAPE, number, 5)]

    with unit_of_work(engine, ada) as work:
        assert queues(work, "1979.1") == ["unread", "no-report", "tapes-by-hand"]
        own_list.put_on(work, by_hand, "1979.1", 5)
        sha256 = factories.upload(work, factories.text_tape(), tape="1979.1").image.sha256
        own_list.put_on(work, BY_HAND[About.IMAGE], sha256, 5)
    assert mine(engine, ada) == {"tapes-by-hand": ["1979.1"], "images-by-hand": [sha256]}

    with unit_of_work(engine, ada) as work:
        assert queues(work, "1979.1") == ["single-reading", "no-report", "tapes-by-hand"]
        own_list.take_off(work, by_hand, "1979.1")
        own_list.take_off(work, BY_HAND[About.IMAGE], sha256)
    assert mine(engine, ada) == {}


def test_a_tape_stays_on_the_list_under_a_new_number(engine, ada):
    put_on(engine, ada, "unread", "1979.1")
    with factories.acting(engine) as work:
        tapes.change(work, "1979.1", TapeChange(accession_number="1979.77"))

    assert mine(engine, ada) == {"unread": ["1979.77"]}


def test_what_two_changes_put_on_at_once_is_refused_by_the_database(engine, ada):
    put_on(engine, ada, "unread", "1979.1")
    with unit_of_work(engine, ada) as work:
        item = work.session.scalar(select(WorkItem).where(col(WorkItem.queue) == "unread"))
        assert item is not None
        with pytest.raises(Conflict):
            own_list.put_on(work, UNREAD, "1979.1", 5)
        own_list.put_on(work, QUEUES["no-report"], "1979.1", 5)

    assert mine(engine, ada) == {"unread": ["1979.1"], "no-report": ["1979.1"]}
