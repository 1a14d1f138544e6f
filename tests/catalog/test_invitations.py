"""Invitations: one person comes in by a link, once, with the role that was chosen."""

import hashlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import Engine, select

from server.catalog import events, invitations, people
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound
from server.catalog.events import ObjectKind
from server.catalog.invitations import Invited, Newcomer, NewInvitation, State
from server.catalog.work import COMMAND, VISITOR, Actor, Role, unit_of_work
from server.store.people import Invitation, Person
from tests import factories

NEW = Newcomer(name="Wren", display_name="Wren Ottery")

pytestmark = pytest.mark.usefixtures("quick_hashes")


@pytest.fixture
def maud(engine: Engine) -> Actor:
    return factories.person(engine, Role.ADMINISTRATOR, "Maud")


@pytest.fixture
def invited(engine: Engine, maud: Actor) -> Callable[..., Invited]:
    def make(**values: Any) -> Invited:
        with unit_of_work(engine, maud) as work:
            return invitations.invite(work, NewInvitation(**values))

    return make


def accept(engine: Engine, token: str, new: Newcomer = NEW, later: timedelta = timedelta(0)) -> Any:
    with unit_of_work(engine) as work:
        at = replace(work, now=work.now + later)
        return invitations.accept(at, token, new, factories.PASSWORD)


def test_who_was_invited_comes_in_with_the_role_that_was_chosen(engine, maud, invited):
    came = accept(engine, invited(role=Role.ARCHIVIST, note="the new member").token)

    assert (came.actor.name, came.actor.role) == ("Wren Ottery", Role.ARCHIVIST)
    with unit_of_work(engine) as work:
        assert people.resume(work, came.token) is not None
    with unit_of_work(engine) as work:
        assert people.sign_in(work, "wren", factories.PASSWORD).actor == came.actor
    with unit_of_work(engine, maud) as work:
        (told,) = invitations.page(work)
    assert (told.state, told.by, told.person) == (State.USED, "Maud", "Wren Ottery")


def test_an_invitation_serves_once(engine, invited):
    token = invited().token
    accept(engine, token)

    with pytest.raises(NotFound, match="leads nowhere"):
        accept(engine, token, Newcomer(name="Another"))


def test_of_two_who_come_at_once_one_gets_in(engine, invited):
    token = invited().token

    def come(name: str) -> bool:
        try:
            accept(engine, token, Newcomer(name=name))
        except NotFound:
            return False
        return True

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(come, ("one", "two"))) == [False, True]


def test_an_invitation_ends_by_itself(sqlite_engine):
    with unit_of_work(sqlite_engine, COMMAND) as work:
        token = invitations.invite(work, NewInvitation(days=2)).token

    with pytest.raises(NotFound):
        accept(sqlite_engine, token, later=timedelta(days=2))
    accept(sqlite_engine, token, later=timedelta(days=1, hours=23))


def test_a_withdrawn_invitation_leads_nowhere(engine, maud, invited):
    made = invited()
    with unit_of_work(engine, maud) as work:
        invitations.withdraw(work, made.record.id)

    with pytest.raises(NotFound):
        accept(engine, made.token)
    with unit_of_work(engine, maud) as work:
        assert invitations.page(work)[0].state is State.WITHDRAWN
        with pytest.raises(NotFound):
            invitations.withdraw(work, 999)


def test_a_used_invitation_cannot_be_withdrawn(engine, maud, invited):
    made = invited()
    accept(engine, made.token)
    with unit_of_work(engine, maud) as work, pytest.raises(Conflict, match="came in"):
        invitations.withdraw(work, made.record.id)


def test_a_refused_newcomer_may_try_again_with_the_same_link(engine, invited):
    token = invited().token
    with pytest.raises(Invalid), unit_of_work(engine) as work:
        invitations.accept(work, token, NEW, "short")
    with pytest.raises(Conflict):
        accept(engine, token, Newcomer(name="Maud"))

    assert accept(engine, token).actor.name == "Wren Ottery"


def test_only_the_digest_of_a_link_is_kept(sqlite_engine):
    with unit_of_work(sqlite_engine, COMMAND) as work:
        token = invitations.invite(work, NewInvitation()).token
        row = work.session.scalars(select(Invitation)).one()

        assert hashlib.sha256(token.encode()).hexdigest() == row.token_hash
        assert token not in repr(row)
    assert len(token) >= 43, "256 bits in base 64"


@pytest.mark.parametrize("role", [Role.VOLUNTEER, Role.ARCHIVIST])
def test_only_an_administrator_invites(sqlite_engine, role):
    with unit_of_work(sqlite_engine, Actor(None, "x", role)) as work:
        for act in (
            lambda: invitations.invite(work, NewInvitation()),
            lambda: invitations.page(work),
            lambda: invitations.withdraw(work, 1),
        ):
            with pytest.raises(NotAllowed):
                act()


def test_nobody_is_invited_to_be_a_visitor(sqlite_engine):
    with unit_of_work(sqlite_engine, COMMAND) as work, pytest.raises(Conflict):
        invitations.invite(work, NewInvitation(role=Role.VISITOR))


def test_each_step_is_an_event_with_who_did_it(engine, maud, invited):
    made = invited(note="for Wren")
    came = accept(engine, made.token, replace_named(NEW))
    with unit_of_work(engine, maud) as work:
        of_invitation = events.of(work, ObjectKind.INVITATION, made.record.id)
        of_person = events.of(work, ObjectKind.PERSON, came.actor.person_id or 0)

    assert [(each.by, each.detail.split(",")[0]) for each in of_invitation] == [
        ("Wren Ottery", "invitation used"),
        ("Maud", "invited as volunteer"),
    ]
    assert [(each.by, each.detail) for each in of_person] == [
        ("Wren Ottery", "agreed to be named"),
        ("Wren Ottery", f"account made with the role volunteer, by invitation {made.record.id}"),
    ]


def replace_named(newcomer: Newcomer) -> Newcomer:
    return newcomer.model_copy(update={"named": True})


def test_who_does_not_say_so_is_not_named(sqlite_engine):
    with unit_of_work(sqlite_engine, COMMAND) as work:
        token = invitations.invite(work, NewInvitation()).token
    accept(sqlite_engine, token)
    with unit_of_work(sqlite_engine, VISITOR) as work:
        assert [each.named for each in work.session.scalars(select(Person))] == [False]
