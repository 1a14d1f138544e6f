"""The index of fingerprints: which images share most with one, rare ones weighing more.

A fingerprint that many images have says little, and reading all who have it would make the cost
grow with the library; so of each only the newest 24 holders are read, and each of so many counts
for one in so many. One statement, one round trip, whichever the database.
"""

import json
from collections.abc import Callable, Mapping
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import (
    ARRAY,
    BigInteger,
    ColumnElement,
    Executable,
    Float,
    Integer,
    Select,
    String,
    and_,
    bindparam,
    func,
    insert,
    literal,
    or_,
    select,
    true,
)
from sqlalchemy.orm import Session, aliased
from sqlmodel import col

from server.store.kin import Fingerprint

Hashes = NDArray[np.int64]

TELLING_WEIGHT: Final = 1.0
LEAST_NUMBER: Final = 5
TELLING_NUMBER: Final = 16
"""Whoever weighs more than `TELLING_WEIGHT` and shares `LEAST_NUMBER`, or shares as many as
`TELLING_NUMBER`, may be kin; of few fingerprints, an eighth and a quarter are enough.

Measured on the 100,000 tapes of `tests.bench.bench_kin_truth`, where 340 queries find 591 kin,
parts too: the least of those weighs 2.7 and shares 9. Of others, 37 are compared for nothing;
they would be 227 if 8 were as telling as 16."""

HOLDERS: Final = 24
"""The most images that are read for one fingerprint; more than the kin that are kept.

With 64 the same kin are found."""

MOST: Final = 20
"""The most candidates that are worth an exact comparison."""


class Candidate(NamedTuple):
    """An image that shares so many fingerprints with the one asked about, and their weight."""

    image_id: int
    shared: int
    weight: float


def _ranked(held: Select[int, int]) -> Select[int, int, float]:
    """The images in `held`, pairs of a fingerprint and a holder, by the weight of all they hold."""
    pairs = held.cte("held")
    holders = func.count().over(partition_by=pairs.c.hash)
    weighed = select(pairs.c.image_id, (literal(1.0, Float) / holders).label("weight")).subquery()
    weight = func.sum(weighed.c.weight)
    return (
        select(weighed.c.image_id, func.count(), weight)
        .where(weighed.c.image_id != bindparam("besides", type_=Integer))
        .group_by(weighed.c.image_id)
        .having(
            func.count() >= bindparam("least", type_=Integer),
            or_(weight > TELLING_WEIGHT, func.count() >= bindparam("enough", type_=Integer)),
        )
        .order_by(weight.desc(), weighed.c.image_id.desc())
        .limit(bindparam("most", type_=Integer))
    )


def _newest_holders(wanted: ColumnElement[int]) -> Select[int]:
    holder = aliased(Fingerprint, name="holder")
    return (
        select(col(holder.image_id))
        .where(col(holder.hash) == wanted)
        .order_by(col(holder.image_id).desc())
    )


def _on_sqlite() -> Select[int, int, float]:
    """The oldest of those to be read is looked up first, so that they are one run of the index."""
    wanted = func.json_each(bindparam("hashes", type_=String)).table_valued("value", name="wanted")
    holders = _newest_holders(wanted.c.value).correlate(wanted)
    oldest = func.coalesce(holders.limit(1).offset(HOLDERS - 1).scalar_subquery(), 0)
    holds = and_(col(Fingerprint.hash) == wanted.c.value, col(Fingerprint.image_id) >= oldest)
    held = select(col(Fingerprint.hash), col(Fingerprint.image_id)).select_from(wanted)
    return _ranked(held.join(Fingerprint, holds))


def _on_postgresql() -> Select[int, int, float]:
    hashes = func.unnest(bindparam("hashes", type_=ARRAY(BigInteger)))
    wanted = hashes.table_valued("hash", name="wanted").render_derived()
    newest = _newest_holders(wanted.c.hash).limit(HOLDERS).lateral("newest")
    held = select(wanted.c.hash, newest.c.image_id).select_from(wanted)
    return _ranked(held.join(newest, true()))


_BY_DIALECT: Final[Mapping[str, tuple[Executable, Callable[[list[int]], Any]]]] = {
    "sqlite": (_on_sqlite(), json.dumps),
    "postgresql": (_on_postgresql(), list),
}


def add(session: Session, image_id: int, hashes: Hashes) -> None:
    """Put the fingerprints of an image, all different, into the index."""
    rows = [{"hash": value, "image_id": image_id} for value in hashes.tolist()]
    if rows:
        session.execute(insert(Fingerprint), rows)


def of(session: Session, image_id: int) -> Hashes:
    """The fingerprints of an image that are in the index, rising."""
    mine = col(Fingerprint.image_id) == image_id
    rows = session.scalars(
        select(col(Fingerprint.hash)).where(mine).order_by(col(Fingerprint.hash))
    )
    return np.fromiter(rows, np.int64)


def candidates(
    session: Session, hashes: Hashes, *, besides: int | None = None, most: int = MOST
) -> list[Candidate]:
    """The images that share most with `hashes`, heaviest first, without the image `besides`.

    Those that share too little to be kin are left out.
    """
    statement, as_parameter = _BY_DIALECT[session.get_bind().dialect.name]
    # Past the session, which would only look for objects in the rows: a fifth of the time.
    found = session.connection().execute(
        statement,
        {
            "hashes": as_parameter(hashes.tolist()),
            "besides": 0 if besides is None else besides,
            "least": min(LEAST_NUMBER, max(1, hashes.size // 8)),
            "enough": min(TELLING_NUMBER, max(1, hashes.size // 4)),
            "most": most,
        },
    )
    return [Candidate(image_id, shared, float(weight)) for image_id, shared, weight in found]
