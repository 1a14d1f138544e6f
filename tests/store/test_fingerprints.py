import numpy as np
import pytest
from sqlalchemy import Engine, event, insert
from sqlalchemy.orm import Session

from server.store.fingerprints import HOLDERS, TELLING_NUMBER, Candidate, add, candidates, of
from server.store.images import ImageRow
from tests.store.kin_rows import image_rows


def hashes(*values: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.array(values, dtype=np.int64)


@pytest.fixture
def session(engine: Engine):
    with Session(engine) as session, session.begin():
        session.execute(insert(ImageRow), image_rows(1, 200))
        yield session
        session.rollback()


def test_those_who_share_most_come_first_and_the_rare_weighs_more(session: Session) -> None:
    add(session, 1, hashes(10, 20, 30))
    add(session, 2, hashes(10, 20))
    add(session, 3, hashes(10, 40))
    found = candidates(session, hashes(10, 20, 30, 99))
    assert [(each.image_id, each.shared) for each in found] == [(1, 3), (2, 2), (3, 1)]
    assert [each.weight for each in found] == pytest.approx([11 / 6, 5 / 6, 1 / 3])


def test_the_whole_range_of_numbers_is_kept(session: Session) -> None:
    ends = hashes(-(2**63), -1, 0, 2**63 - 1)
    add(session, 7, ends)
    assert candidates(session, ends) == [Candidate(7, 4, 4.0)]


def test_an_image_is_not_its_own_candidate(session: Session) -> None:
    add(session, 1, hashes(10))
    add(session, 2, hashes(10))
    assert [each.image_id for each in candidates(session, hashes(10), besides=2)] == [1]


def test_no_fingerprints_have_no_candidates_and_none_are_put_in(session: Session) -> None:
    add(session, 1, hashes())
    assert candidates(session, hashes()) == []


def test_of_a_common_fingerprint_only_the_newest_holders_are_read(session: Session) -> None:
    for image_id in range(1, HOLDERS + 11):
        add(session, image_id, hashes(10, 1000 + image_id))
    found = candidates(session, hashes(10), most=1000)
    assert [each.image_id for each in found] == list(range(HOLDERS + 10, 10, -1))
    assert {each.weight for each in found} == {1 / HOLDERS}
    assert [each.image_id for each in candidates(session, hashes(10, 1003), most=1)] == [3]


def test_those_of_an_image_are_given_rising(session: Session) -> None:
    add(session, 1, hashes(10, -5, 7))
    add(session, 2, hashes(10))
    assert of(session, 1).tolist() == [-5, 7, 10]
    assert of(session, 3).tolist() == []


def test_no_more_are_given_than_were_asked_for(session: Session) -> None:
    for image_id in range(1, 31):
        add(session, image_id, hashes(image_id % 3))
    assert len(candidates(session, hashes(0, 1, 2))) == 20


def test_it_takes_one_round_trip(session: Session, engine: Engine) -> None:
    add(session, 1, hashes(*range(64)))
    said: list[str] = []
    event.listen(engine, "before_cursor_execute", lambda *given: said.append(given[2]))
    candidates(session, hashes(*range(64)))
    assert len(said) == 1


def test_who_shares_a_few_common_ones_of_many_is_left_out(session: Session) -> None:
    common = range(1, TELLING_NUMBER)
    for image_id in range(1, 5):
        add(session, image_id, hashes(*common))
    add(session, 5, hashes(*common, TELLING_NUMBER))
    asked = hashes(*range(1, 65))
    assert [each.image_id for each in candidates(session, asked)] == [5, 4, 3, 2, 1]
    for image_id in range(6, HOLDERS + 1):
        add(session, image_id, hashes(*common))
    assert [each.image_id for each in candidates(session, asked)] == [5]
