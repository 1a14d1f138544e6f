"""A punching step by step: begun, punched, given up, taken up again; who may, and what is kept."""

from datetime import date, timedelta

import pytest

from server.catalog import events, punching
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound, NotSignedIn
from server.catalog.events import EventType, ObjectKind
from server.catalog.punching_values import GivenUp, Punched, PunchingQuery, Status
from server.catalog.vocabulary import Medium
from server.catalog.work import VISITOR, Actor, Role, unit_of_work
from tests import factories, punched
from tests.punched import ON_PAPER, SOMEBODY


def history(engine, punching_id):
    with unit_of_work(engine, writes=False) as work:
        return [
            (each.type, each.outcome) for each in events.of(work, ObjectKind.PUNCHING, punching_id)
        ][::-1]


def step(engine, act, *given, actor=SOMEBODY):
    with unit_of_work(engine, actor) as work:
        return act(work, *given)


def test_what_was_prepared_is_kept_with_how_and_by_whom(engine):
    sha256 = punched.master(engine)
    program = punched.version(engine, sha256)
    ada = factories.person(engine, Role.VOLUNTEER, "Ada")
    (made,) = punched.begun(engine, sha256, ada, leader_frames=90)
    data = punched.frames(engine, made.id)

    assert (made.status, made.title) == (Status.PREPARED, "Tide table, version 2")
    assert (made.image, made.prepared_by, made.from_verified) == (sha256, "Ada", True)
    assert made.version is not None
    assert made.version.program == program
    assert made.preparation["leader_frames"] == 90
    assert (made.frames, made.data.start) == (len(data), 90)
    assert data[:90] == bytes(90)
    assert history(engine, made.id)[0] == (EventType.CREATION, "prepared")


def test_the_same_form_sent_twice_begins_one_punching_and_another_form_another(sqlite_engine):
    engine = sqlite_engine
    sha256 = punched.master(engine)
    ada, bea = (factories.person(engine, Role.VOLUNTEER, name) for name in ("Ada", "Bea"))
    first, second = (punched.begun(engine, sha256, ada)[0].id for _ in range(2))
    other = punched.begun(engine, sha256, ada, leader_frames=61)[0].id
    hers = punched.begun(engine, sha256, bea)[0].id
    step(engine, punching.punched, first, ON_PAPER)
    later = punched.begun(engine, sha256, ada)[0].id

    assert first == second
    assert len({first, other, hers, later}) == 4


def test_a_version_that_is_not_of_the_image_is_refused(sqlite_engine):
    sha256 = punched.master(sqlite_engine)
    from server.catalog import preparing, punching_start
    from server.tape.preparing import Preparation

    with unit_of_work(sqlite_engine, SOMEBODY) as work:
        prepared = preparing.prepare(work, sha256, Preparation())
        with pytest.raises(Invalid, match="not the master"):
            punching_start.begin(work, sha256, Preparation(), prepared, version=7)


def test_on_what_it_was_punched_is_kept(engine):
    made = punched.punched(engine, punched.master(engine))

    assert (made.status, made.medium, made.punch, made.rate) == (
        Status.PUNCHED,
        Medium.OILED_PAPER,
        "the tall one",
        70,
    )
    assert made.punched_by == "command line"
    assert made.punched_on is not None
    assert history(engine, made.id)[-1] == (EventType.PUNCHING, "punched")


def test_a_tape_cannot_have_been_punched_tomorrow(sqlite_engine):
    (made,) = punched.begun(sqlite_engine, punched.master(sqlite_engine))
    later = date.today() + timedelta(days=3)  # noqa: DTZ011 - any day well ahead will do
    with pytest.raises(Invalid) as refused:
        step(
            sqlite_engine,
            punching.punched,
            made.id,
            Punched(medium=Medium.PAPER, punched_on=later),
        )

    assert list(refused.value.fields) == ["punched_on"]


def test_a_punching_is_given_up_taken_up_again_and_all_of_it_is_told(engine):
    made = punched.punched(engine, punched.master(engine))
    given_up = step(engine, punching.give_up, made.id, GivenUp(note="the paper tore"))
    again = step(engine, punching.again, made.id)

    assert given_up.status is Status.GIVEN_UP
    assert (again.status, again.medium, again.punched_on) == (Status.PREPARED, None, None)
    assert [outcome for _, outcome in history(engine, made.id)] == [
        "prepared",
        "punched",
        "given up",
        "prepared",
    ]
    assert again.revision == made.revision + 2


def test_a_step_that_does_not_follow_is_refused_and_changes_nothing(sqlite_engine):
    engine = sqlite_engine
    made = punched.punched(engine, punched.master(engine))
    with pytest.raises(Conflict, match="punched"):
        step(engine, punching.punched, made.id, ON_PAPER)
    step(engine, punching.give_up, made.id, GivenUp())
    for act, given in ((punching.give_up, (GivenUp(),)), (punching.punched, (ON_PAPER,))):
        with pytest.raises(Conflict, match="given up"):
            step(engine, act, made.id, *given)
    with pytest.raises(Conflict):
        punched.frames(engine, made.id)
    step(engine, punching.again, made.id)
    with pytest.raises(Conflict):
        step(engine, punching.again, made.id)


@pytest.mark.parametrize("punching_id", [0, 99, 2**40])
def test_a_punching_that_is_not_there_cannot_be_had(sqlite_engine, punching_id):
    with pytest.raises(NotFound):
        step(sqlite_engine, punching.get, punching_id)


def test_volunteers_punch_and_visitors_only_look(sqlite_engine):
    engine = sqlite_engine
    (made,) = punched.begun(engine, punched.master(engine))
    nobody = Actor(4, "Nobody", Role.VISITOR)
    for act, given in (
        (punching.punched, (ON_PAPER,)),
        (punching.give_up, (GivenUp(),)),
        (punching.again, ()),
        (punching.frames, ()),
    ):
        with pytest.raises((NotSignedIn, NotAllowed)):
            step(engine, act, made.id, *given, actor=VISITOR)
        with pytest.raises((NotSignedIn, NotAllowed)):
            step(engine, act, made.id, *given, actor=nobody)

    assert step(engine, punching.get, made.id, actor=VISITOR).status is Status.PREPARED


def test_that_frames_were_given_out_is_logged(sqlite_engine):
    (made,) = punched.begun(sqlite_engine, punched.master(sqlite_engine))
    with unit_of_work(sqlite_engine, SOMEBODY, writes=False) as work:
        given = punching.frames(work, made.id)

    assert given.file_name == f"punching-{made.id}.tape"
    assert given.verified
    assert history(sqlite_engine, made.id)[-1][0] == EventType.DISSEMINATION


def test_punchings_are_listed_by_tape_image_program_and_status(engine):
    kites = punched.master(engine)
    program = punched.version(engine, kites)
    hexes = punched.master(engine, factories.hex_tape(), vouched=False)
    done = punched.punched(engine, kites)
    tape = punched.read_back(engine, done.id, punched.frames(engine, done.id)).tape
    (waits,) = punched.begun(engine, hexes)

    def listed(**query):
        with unit_of_work(engine, writes=False) as work:
            return [each.id for each in punching.page(work, PunchingQuery(**query)).rows]

    assert listed() == [waits.id, done.id]
    assert listed(tape=tape) == listed(image=kites) == listed(program=program) == [done.id]
    assert listed(status=Status.PREPARED) == [waits.id]
    assert listed(page_size=1, page=2) == [done.id]
