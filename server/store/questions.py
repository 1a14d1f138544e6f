"""The statements of a search, made once for each form that a question can take.

To make a statement takes longer than the database needs to answer it, so that those that every
search asks are kept, with parameters for what differs from one search to the next.
"""

from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any, Final, NamedTuple

from sqlalchemy import (
    BigInteger,
    ColumnElement,
    Integer,
    Select,
    SQLColumnExpression,
    String,
    bindparam,
    or_,
    select,
)

from server.store.gram_index import GramIndex
from server.store.texts import Texts

PROBED: Final = 300
"""So many of the newest texts are read first where an index gives no key before it has all."""

WORTH_READING: Final = 4_000
"""So many texts are read rather than that such an index is asked for all keys it has."""

_BEYOND_ALL: Final = (1 << 63) - 1

_BEFORE: Final = bindparam("before", type_=BigInteger)
_ABOVE: Final = bindparam("above", type_=BigInteger)
_MOST: Final = bindparam("most", type_=Integer)


class Run(NamedTuple):
    """The parameters of a run that a text must hold, or of the name that it may hold instead."""

    folded: ColumnElement[str]
    plain: ColumnElement[str] | None


def keys(
    index: GramIndex, texts: Texts, asked: Sequence[ColumnElement[Any]], runs: Sequence[Run]
) -> Select[int]:
    """The keys, labelled `key`, of the texts that hold all runs; the index is `asked` for them."""
    holding = [_holds(index, texts, run) for run in runs]
    if not asked:
        return select(texts.key.label("key")).where(*holding)
    found = index.having(texts.index, asked)
    return (
        select(found.key.label("key"))
        .select_from(found.rows)
        .join(texts.entity, texts.key == found.key)
        .where(found.condition, *holding)
    )


def below(found: Select[int], key: SQLColumnExpression[Any]) -> Select[int]:
    """Of what is found the greatest keys within the `bounds`, the greatest first."""
    return _first(found.where(key < _BEFORE), key)


def _first(found: Select[int], order: SQLColumnExpression[Any]) -> Select[int]:
    return found.order_by(order.desc()).limit(_MOST)


@cache
def newest(index: GramIndex, texts: Texts, asked: int, names: tuple[bool, ...]) -> Select[int]:
    """`keys` within the `bounds`, the greatest first, for the `values` of as many runs as names."""
    grams = [bindparam(f"asked{place}", type_=index.type) for place in range(asked)]
    found = keys(index, texts, grams, _runs(names))
    key = found.selected_columns["key"]
    # By a sum, so that PostgreSQL does not go through the keys in their order and look at the
    # grams of each, which takes seconds, for the few that have them all.
    return below(found, key) if index.newest_first else _first(found.where(key < _BEFORE), key + 0)


@cache
def between(index: GramIndex, texts: Texts, names: tuple[bool, ...]) -> Select[int]:
    """As `newest`, of the texts whose key is above `above`, each of which is read."""
    return below(keys(index, texts, (), _runs(names)), texts.key).where(texts.key > _ABOVE)


@cache
def edge(texts: Texts) -> Select[int]:
    """The key above which, and below the bounds, there are `past` texts."""
    return below(select(texts.key), texts.key).offset(bindparam("past", type_=Integer))


def values(asked: Sequence[Any], folded: Iterable[str], plain: Iterable[str]) -> dict[str, Any]:
    """The parameters of `newest` and `between`."""
    given = {f"asked{place}": each for place, each in enumerate(asked)}
    given |= {f"run{place}": each for place, each in enumerate(folded)}
    return given | {f"name{place}": each for place, each in enumerate(plain)}


def bounds(before: int | None, most: int) -> dict[str, int]:
    """The parameters that keep to keys below `before`, and to the `most` greatest of them."""
    return {"before": _BEYOND_ALL if before is None else before, "most": most}


def _runs(names: tuple[bool, ...]) -> list[Run]:
    return [
        Run(
            bindparam(f"run{place}", type_=String),
            bindparam(f"name{place}", type_=String) if is_name else None,
        )
        for place, is_name in enumerate(names)
    ]


def _holds(index: GramIndex, texts: Texts, run: Run) -> ColumnElement[bool]:
    """The condition that a text holds the run, found by reading it."""
    ways = [index.holds(texts.body, run.folded)]
    if texts.plain is not None and run.plain is not None:
        ways.append(index.holds(texts.plain, run.plain))
    return or_(*ways)
