"""The accounts of the demonstration: open while it runs, shut in any other archive."""

from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine

from server.catalog import accounts, people, published
from server.catalog.errors import SignInRefused
from server.catalog.work import COMMAND, Role, unit_of_work

PEOPLE = [each.name for each in published.ACCOUNTS]


@pytest.fixture
def demonstration(sqlite_engine: Engine) -> Engine:
    with unit_of_work(sqlite_engine, COMMAND) as work:
        published.create_accounts(work)
    return sqlite_engine


def _start(engine: Engine, *, demo: bool) -> None:
    with unit_of_work(engine, COMMAND) as work:
        published.let_in(work, demo=demo)


def _sign_in(engine: Engine, name: str, password: str = published.PASSWORD) -> str:
    with unit_of_work(engine) as work:
        return people.sign_in(work, name, password).token


def _open_accounts(engine: Engine) -> list[str]:
    with unit_of_work(engine, COMMAND) as work:
        return [each.name for each in accounts.people(work) if each.disabled is None]


def test_there_is_somebody_of_each_role_that_has_an_account():
    assert {each.role for each in published.ACCOUNTS} == set(Role) - {Role.VISITOR}


def test_the_published_password_opens_the_demonstration(demonstration):
    _start(demonstration, demo=True)

    assert [name for name in PEOPLE if not _sign_in(demonstration, name)] == []


@pytest.mark.parametrize("name", PEOPLE)
def test_the_published_password_opens_no_other_archive(demonstration, name):
    _start(demonstration, demo=False)

    with pytest.raises(SignInRefused):
        _sign_in(demonstration, name)


def test_a_sign_in_made_in_the_demonstration_ends_when_it_is_put_to_real_use(demonstration):
    token = _sign_in(demonstration, "odile")
    _start(demonstration, demo=False)

    with unit_of_work(demonstration) as work:
        assert people.resume(work, token) is None


def test_the_demonstration_opens_again_when_it_is_served_as_one_again(demonstration):
    _start(demonstration, demo=False)
    _start(demonstration, demo=True)

    assert _open_accounts(demonstration) == sorted(PEOPLE)


@pytest.mark.parametrize("demo", [True, False])
def test_somebody_real_of_the_same_name_is_left_alone(sqlite_engine, demo):
    password = "eleven herons on the weir"
    with unit_of_work(sqlite_engine, COMMAND) as work:
        accounts.create_person(work, "maud", password, Role.ADMINISTRATOR)
    _start(sqlite_engine, demo=demo)

    assert _open_accounts(sqlite_engine) == ["maud"]
    assert _sign_in(sqlite_engine, "maud", password)


def test_one_account_of_a_like_name_does_not_make_a_demonstration(sqlite_engine):
    with unit_of_work(sqlite_engine, COMMAND) as work:
        accounts.create_person(work, "maud", "eleven herons on the weir", Role.ADMINISTRATOR)

        assert not published.are_here(work)
        assert set(published.actors(work)) == {"maud"}


def test_starting_twice_in_the_same_way_logs_nothing_new(demonstration):
    _start(demonstration, demo=False)
    before = _closed_at(demonstration)
    _start(demonstration, demo=False)

    assert before == _closed_at(demonstration)


def _closed_at(engine: Engine) -> list[datetime | None]:
    with unit_of_work(engine, COMMAND) as work:
        closed = [each.disabled for each in accounts.people(work)]
    assert all(each is not None and each <= datetime.now(UTC) for each in closed)
    return closed
