import pytest
from sqlalchemy import Engine

from server.catalog import tapes
from server.catalog.errors import NotAllowed, NotFound, NotSignedIn
from server.catalog.events import EventType, ObjectKind, of, record
from server.catalog.work import VISITOR, Actor, Role, Work, unit_of_work
from tests import factories


@pytest.mark.parametrize("role", list(Role))
def test_a_role_includes_itself_and_those_before_it(role: Role):
    included = [other for other in Role if role.includes(other)]

    assert included == list(Role)[: list(Role).index(role) + 1]


def test_a_visitor_is_asked_to_sign_in():
    with pytest.raises(NotSignedIn):
        VISITOR.require(Role.VOLUNTEER)


def test_a_lesser_role_is_told_which_one_is_needed():
    with pytest.raises(NotAllowed, match="archivist"):
        Actor(1, "Ada", Role.VOLUNTEER).require(Role.ARCHIVIST)


def test_nothing_is_kept_of_a_work_that_failed(engine: Engine):
    def fail() -> None:
        with factories.acting(engine) as work:
            factories.tape(work, accession_number="1978.4")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    with unit_of_work(engine, writes=False) as work, pytest.raises(NotFound):
        tapes.get(work, "1978.4")


def _note(work: Work) -> None:
    record(work, EventType.DISSEMINATION, ObjectKind.IMAGE, "noted")


def test_what_must_be_remembered_is_kept_after_a_work_that_failed(engine: Engine):
    def fail() -> None:
        with unit_of_work(engine, writes=False) as work:
            work.afterwards.append(_note)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    with unit_of_work(engine, writes=False) as work:
        assert len(of(work, ObjectKind.IMAGE, "noted")) == 1
