"""How many tapes there are with each value of each facet, counted by the database.

The count beside a value heeds what was chosen in all other facets, and not in its own: several
values of one facet mean any of them.
"""

from collections.abc import Mapping
from typing import Final, NamedTuple

from sqlalchemy import String, cast, func, literal, select, union_all
from sqlalchemy.orm import Session

from server.catalog import narrowing
from server.catalog.narrowing import FIELDS, IMAGE_FIELDS, NO_IMAGE, TAPE_FIELDS, AnySelect
from server.catalog.tape_values import FacetValue, TapeQuery
from server.store.remembered import remembered
from server.tape.formats import FORMATS

MOST_VALUES: Final = 40
"""Values of one facet that are told; places can be many."""

_ORDER = ("format", "medium", "condition", "check_status", "verification", "place", "program")

Counts = dict[str, int]


class Counted(NamedTuple):
    """How many tapes match, and the values of each facet."""

    total: int
    facets: dict[str, tuple[FacetValue, ...]]


def count(session: Session, query: TapeQuery) -> Counted:
    """The tapes that match the query, and what they could be narrowed by."""
    asked = query.model_dump_json(exclude={"sort", "page", "page_size"})
    return remembered(session, asked, lambda: _count(session, query))


def _count(session: Session, query: TapeQuery) -> Counted:
    total, of_images = _of_images(session, query)
    found = of_images | _of_tapes(session, query)
    return Counted(total, {name: _facet(session, query, name, found[name]) for name in _ORDER})


def _of_images(session: Session, query: TapeQuery) -> tuple[int, dict[str, Counts]]:
    """How many tapes match, and the counts of the facets of their newest images.

    These facets have few values, so that one pass counts every combination of them.
    """
    fields: AnySelect = select(*IMAGE_FIELDS.values(), func.count())
    rows = session.execute(
        fields.where(
            *narrowing.of_shelf(session, query.departed),
            *narrowing.of_words(session, query.q),
            *narrowing.conditions(query, TAPE_FIELDS),
        ).group_by(*IMAGE_FIELDS.values())
    )
    total = 0
    found: dict[str, Counts] = {name: {} for name in IMAGE_FIELDS}
    for *values, number in rows:
        missed = [
            name
            for name, value in zip(IMAGE_FIELDS, values, strict=True)
            if getattr(query, name) and value not in getattr(query, name)
        ]
        total += 0 if missed else number
        for name, value in zip(IMAGE_FIELDS, values, strict=True):
            if value and missed in ([], [name]):
                found[name][value] = found[name].get(value, 0) + number
    return total, found


def _of_tapes(session: Session, query: TapeQuery) -> dict[str, Counts]:
    """The counts of the facets of the tapes themselves."""
    words = narrowing.of_shelf(session, query.departed)
    words += narrowing.of_words(session, query.q)
    parts = [
        select(literal(name), cast(field, String), func.count())
        .where(*words, *narrowing.conditions(query, FIELDS, besides=name))
        .group_by(field)
        for name, field in TAPE_FIELDS.items()
    ]
    found: dict[str, Counts] = {name: {} for name in TAPE_FIELDS}
    for name, value, number in session.execute(union_all(*parts)):
        if value:
            found[name][value] = number
    return found


def _facet(session: Session, query: TapeQuery, name: str, found: Counts) -> tuple[FacetValue, ...]:
    chosen = narrowing.chosen(query, name)
    numbers = found | {value: found.get(value, 0) for value in chosen}
    ranked = sorted(numbers, key=lambda value: (value not in chosen, -numbers[value], value))
    told = ranked[: max(MOST_VALUES, len(chosen))]
    labels = _labels(session, name, told)
    if name == "program":
        # A program may be closed where a tape that carries it is not.
        told = [value for value in told if value in labels]
    return tuple(
        FacetValue(value, labels.get(value, value), numbers[value], value in chosen)
        for value in told
    )


def _labels(session: Session, name: str, values: list[str]) -> Mapping[str, str]:
    if name == "format":
        return {each.name: each.title for each in FORMATS.values()} | {NO_IMAGE: "no image yet"}
    return narrowing.titles_of(session, values) if name == "program" and values else {}
