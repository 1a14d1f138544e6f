"""What a search could be narrowed by: the values of each facet among what was found, counted.

The count beside a value heeds what was chosen in all other facets, and not in its own. Only the
newest of what was found are counted, so that a common word costs no more in a large library.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from typing import Any, Final

from sqlalchemy import select

from server.catalog.search_filters import of_listings, of_records
from server.catalog.search_sources import Bundle, bundles_for
from server.catalog.search_values import FACETS, HitKind, SearchQuery
from server.catalog.tape_values import FacetValue
from server.catalog.work import Work
from server.store.search import newest, record_of
from server.store.texts import LISTINGS, RECORDS
from server.tape.formats import FORMATS

COUNTED_FACETS: Final = 500
"""As many listings, and as many records, are counted."""

MOST_VALUES: Final = 20
"""Values of one facet that are told."""

Things = Mapping[HitKind, Collection[int]]
Counts = dict[str, int]


def count(work: Work, query: SearchQuery) -> dict[str, tuple[FacetValue, ...]]:
    """The values of each facet, the chosen ones first, then the most frequent."""
    found = _counts(work, query, _things(work, query))
    for name in query.narrowed_by:
        wider = query.without(name)
        found[name] = _counts(work, wider, _things(work, wider))[name]
    return {name: _values(query, name, found[name]) for name in FACETS}


def _things(work: Work, query: SearchQuery) -> Things:
    """The newest that the query finds, by kind."""
    session = work.session
    conditions = of_listings(query, LISTINGS.key, bundles_for(work))
    listings = newest(session, LISTINGS, [query.q], COUNTED_FACETS, only=conditions)
    things: dict[HitKind, set[int]] = {kind: set() for kind in HitKind}
    things[HitKind.LISTING].update(listings)
    fields = of_records(query, bundles_for(work))
    keys = newest(session, RECORDS, [query.q], COUNTED_FACETS, only=fields)
    for kind, _, number in map(record_of, keys):
        things[HitKind(kind)].add(number)
    return things


def _counts(work: Work, query: SearchQuery, things: Things) -> dict[str, Counts]:
    values: dict[str, dict[tuple[HitKind, int], set[Any]]] = {
        name: defaultdict(set) for name in FACETS
    }
    for kind, ids in things.items():
        for bundle in bundles_for(work)[kind] if ids else ():
            for row in _rows(work, bundle, ids):
                for name in bundle.facets:
                    if _admitted(query, bundle, row, besides=name):
                        values[name][kind, row["thing"]].add(_value(row, name))
    return {
        name: _by_year(query, of_things.values()) if name == "year" else _tally(of_things.values())
        for name, of_things in values.items()
    }


def _rows(work: Work, bundle: Bundle, ids: Collection[int]) -> Iterable[Mapping[str, Any]]:
    for source in bundle.sources:
        found = work.session.execute(select(*source.c).where(source.c.thing.in_(ids)))
        yield from (row._asdict() for row in found)


def _admitted(query: SearchQuery, bundle: Bundle, row: Mapping[str, Any], *, besides: str) -> bool:
    """Whether a row has what was chosen in the other facets of its bundle."""
    return all(
        _has(row, name, getattr(query, name))
        for name in bundle.facets
        if name != besides and getattr(query, name)
    )


def _has(row: Mapping[str, Any], name: str, chosen: tuple[Any, ...]) -> bool:
    if name == "year":
        first, last = _value(row, name)
        return first is not None and any(first <= year <= last for year in chosen)
    return row[name] in chosen


def _value(row: Mapping[str, Any], name: str) -> Any:
    return (row["year_from"], row["year"]) if name == "year" else row[name]


def _tally(values: Iterable[set[Any]]) -> Counts:
    counts: Counts = {}
    for several in values:
        for value in several:
            if value:
                counts[str(value)] = counts.get(str(value), 0) + 1
    return counts


def _by_year(query: SearchQuery, spans: Iterable[set[tuple[int | None, int]]]) -> Counts:
    """How many may be of each year that some are surely of, or that was chosen."""
    known = [[each for each in several if each[0] is not None] for several in spans]
    years = {last for several in known for first, last in several if first == last}
    return {
        str(year): sum(
            any((first or 0) <= year <= last for first, last in several) for several in known
        )
        for year in sorted(years | set(query.year))
    }


def _values(query: SearchQuery, name: str, counts: Counts) -> tuple[FacetValue, ...]:
    chosen = [str(value) for value in getattr(query, name)]
    numbers = counts | {value: counts.get(value, 0) for value in chosen}
    ranked = sorted(numbers, key=lambda value: (value not in chosen, -numbers[value], value))
    return tuple(
        FacetValue(value, _label(name, value), numbers[value], value in chosen)
        for value in ranked[: max(MOST_VALUES, len(chosen))]
    )


def _label(name: str, value: str) -> str:
    return FORMATS[value].title if name == "format" and value in FORMATS else value
