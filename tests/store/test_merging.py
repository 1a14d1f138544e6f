import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session
from sqlmodel import col

from server.store.merging import (
    MergedReading,
    MergedSource,
    pack_confidence,
    pack_disputes,
    unpack_disputes,
)
from server.tape.merging import Dispute, SettledBy
from tests.store.rows import NOW, add_image, add_merged, add_reading

FRAME = st.one_of(st.none(), st.integers(0, 255))
PLACE = st.one_of(st.none(), st.integers(0, 2**31 - 1))


def disputes_of(readings: int) -> st.SearchStrategy[Dispute]:
    return st.builds(
        Dispute,
        column=st.integers(0, 2**31 - 1),
        frame=PLACE,
        votes=st.tuples(*[FRAME] * readings),
        sources=st.tuples(*[PLACE] * readings),
        chosen=FRAME,
        settled_by=st.sampled_from(SettledBy),
        confidence=st.integers(0, 1024).map(lambda parts: parts / 1024),
    )


def same(a: Dispute, b: Dispute) -> bool:
    close = 0 <= b.confidence - a.confidence < 1e-6
    return close and _exact(a) == _exact(b)


def _exact(each: Dispute) -> tuple[object, ...]:
    return each.column, each.frame, each.votes, each.sources, each.chosen, each.settled_by


@given(
    st.integers(2, 5).flatmap(
        lambda readings: st.tuples(
            st.just(readings), st.lists(disputes_of(readings), max_size=30).map(tuple)
        )
    )
)
def test_disputes_come_back_as_they_were_packed_and_never_surer(given_):
    readings, disputes = given_
    found, total = unpack_disputes(pack_disputes(disputes, readings), readings)

    assert total == len(disputes)
    assert all(same(kept, told) for kept, told in zip(found, disputes, strict=True))


def some(column: int, settled_by: SettledBy) -> Dispute:
    return Dispute(column, column, (1, None), (2, 3), 1, settled_by, 0.5)


MIXED = pack_disputes(
    [some(n, SettledBy.OPEN if n % 3 else SettledBy.CHECKSUM) for n in range(9)], 2
)


def test_a_part_of_the_disputes_can_be_had():
    found, total = unpack_disputes(MIXED, 2, start=2, stop=4)

    assert ([each.column for each in found], total) == ([2, 3], 9)


def test_disputes_can_be_had_by_what_settled_them_and_by_their_column():
    found, total = unpack_disputes(MIXED, 2, settled_by=SettledBy.CHECKSUM, stop=2)
    at, count = unpack_disputes(MIXED, 2, column=4)

    assert ([each.column for each in found], total) == ([0, 3], 3)
    assert (at, count) == ((some(4, SettledBy.OPEN),), 1)
    assert unpack_disputes(MIXED, 2, column=99) == ((), 0)


def test_confidence_is_never_rounded_up():
    told = np.array([1, 0.9999, 0.5, 0.0099, 0], np.float32)

    assert list(pack_confidence(told)) == [100, 99, 50, 0, 0]


def test_at_most_one_merged_reading_follows_another(engine: Engine):
    with Session(engine) as session, session.begin():
        image = add_image(session, "10 END\n")
        readings = [add_reading(session, image, None) for _ in range(5)]
        first = add_merged(session, readings[2], readings[:2])
        session.add(following(readings[3], first))

    with Session(engine) as session:
        session.add(following(readings[4], first))
        with pytest.raises(IntegrityError):
            session.flush()


def test_the_sources_of_a_merged_reading_are_kept_in_their_order(engine: Engine):
    with Session(engine) as session, session.begin():
        image = add_image(session, "10 END\n")
        readings = [add_reading(session, image, None) for _ in range(4)]
        merged = add_merged(session, readings[3], [readings[2], readings[0], readings[1]])

    with Session(engine) as session:
        kept = session.scalars(
            select(col(MergedSource.reading_id))
            .where(col(MergedSource.merged_id) == merged)
            .order_by(col(MergedSource.place))
        ).all()
    assert kept == [readings[2], readings[0], readings[1]]


def following(reading: int, first: int) -> MergedReading:
    return MergedReading(
        reading_id=reading,
        follows_id=first,
        release="1",
        agreement="not",
        sentence="",
        made_at=NOW,
        disputes=b"",
        confidence=b"",
    )
