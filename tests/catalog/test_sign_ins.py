"""One's own sign-ins, and when somebody was last seen."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import Engine

from server.catalog import accounts, people, sign_ins, tokens
from server.catalog.errors import NotFound
from server.catalog.work import COMMAND, Actor, Role, unit_of_work
from tests import factories

pytestmark = pytest.mark.usefixtures("quick_hashes")


@pytest.fixture
def ada(sqlite_engine: Engine) -> Actor:
    return factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")


def sign_in(engine: Engine, browser: str) -> str:
    with unit_of_work(engine) as work:
        return people.sign_in(work, "ada", factories.PASSWORD, browser=browser).token


def test_a_person_sees_where_they_are_signed_in(sqlite_engine, ada):
    sign_in(sqlite_engine, "the phone")
    here = sign_in(sqlite_engine, "x" * 5000)
    with unit_of_work(sqlite_engine, ada) as work:
        told = sign_ins.own(work, here)
        late = sign_ins.own(replace(work, now=work.now + timedelta(hours=3)), here)

    assert [(each.browser[:9], each.here) for each in told] == [
        ("x" * 9, True),
        ("the phone", False),
    ]
    assert len(told[0].browser) == people.LONGEST_BROWSER
    assert late == (), "those that were not used for long have ended"


def test_ending_a_sign_in_ends_it_at_once_and_is_an_event(sqlite_engine, ada):
    phone, here = sign_in(sqlite_engine, "the phone"), sign_in(sqlite_engine, "here")
    with unit_of_work(sqlite_engine, ada) as work:
        sign_ins.end(work, sign_ins.own(work, here)[1].id)
    with unit_of_work(sqlite_engine, ada) as work:
        assert people.resume(work, phone) is None
        assert people.resume(work, here) is not None
        assert "ended" in accounts.history(work, ada.person_id or 0)[0].detail


def test_all_other_sign_ins_end_together(sqlite_engine, ada):
    others = [sign_in(sqlite_engine, "other") for _ in range(2)]
    here = sign_in(sqlite_engine, "here")
    with unit_of_work(sqlite_engine, ada) as work:
        assert sign_ins.end_others(work, here) == 2
        assert sign_ins.end_others(work, here) == 0
    with unit_of_work(sqlite_engine, ada) as work:
        assert [people.resume(work, each) for each in others] == [None, None]
        assert people.resume(work, here) is not None


def test_nobody_ends_the_sign_in_of_another(sqlite_engine, ada):
    sign_in(sqlite_engine, "here")
    with unit_of_work(sqlite_engine, ada) as work:
        (own,) = sign_ins.own(work)
    other = factories.person(sqlite_engine, Role.ADMINISTRATOR, "Bea")
    with unit_of_work(sqlite_engine, other) as work, pytest.raises(NotFound):
        sign_ins.end(work, own.id)


def test_people_are_seen_when_they_sign_in_and_when_they_or_their_programs_come_back(
    sqlite_engine, ada
):
    def seen():
        with unit_of_work(sqlite_engine, COMMAND) as work:
            return accounts.get(work, ada.person_id or 0).seen

    assert seen() is None
    token = sign_in(sqlite_engine, "here")
    first = seen()
    assert first is not None
    with unit_of_work(sqlite_engine) as work:
        at = replace(work, now=first + timedelta(minutes=5), afterwards=[])
        assert people.resume(at, token)
        for act in at.afterwards:
            act(at)
    assert seen() == first + timedelta(minutes=5)
    with unit_of_work(sqlite_engine, ada) as work:
        issued = tokens.issue(work, "script")
    with unit_of_work(sqlite_engine) as work:
        at = replace(work, now=first + timedelta(hours=1), afterwards=[])
        assert tokens.bearer(at, issued)
        for act in at.afterwards:
            act(at)
    assert seen() == first + timedelta(hours=1)
