"""Where the values of facets come from, for each kind of what a search finds.

A bundle is a set of facets whose values stand side by side in the same rows: of a medium and a
place that are asked for together, one and the same tape must have both.
"""

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from sqlalchemy import Select, Subquery, and_, case, func, null, select
from sqlalchemy import cast as sql_cast
from sqlmodel import col

from server.catalog import named
from server.catalog.records import VerifiedBy
from server.catalog.search_values import HitKind
from server.catalog.verification import strength
from server.catalog.work import Work
from server.store.images import Decoding, Reading
from server.store.people import Person
from server.store.programs import Program, Version
from server.store.tapes import Tape
from server.store.verification import Verification

Rows = Select[*tuple[Any, ...]]


class Bundle(NamedTuple):
    """Facets, and the rows that give their values; each has `thing`, the id of what has them."""

    facets: tuple[str, ...]
    sources: tuple[Subquery, ...]


Bundles = Mapping[HitKind, tuple[Bundle, ...]]

_STRONGEST = func.coalesce(
    select(func.max(strength()))
    .where(col(Verification.image_id) == col(Decoding.image_id))
    .correlate(Decoding)
    .scalar_subquery(),
    0,
)

_OF_IMAGE: Final[dict[str, Any]] = {
    "format": col(Decoding.format),
    "check_status": col(Decoding.check_status),
    "language": col(Decoding.language),
    "loader": col(Decoding.loader),
    "verification": case(dict(enumerate(VerifiedBy)), value=_STRONGEST),
}
_OF_TAPE: Final[dict[str, Any]] = {
    "medium": col(Tape.medium),
    "condition": col(Tape.condition),
    "place": col(Tape.place),
    "year_from": col(Tape.year_from),
    "year": col(Tape.year_to),
}
_NOTHING_OF_TAPE: Final = {name: sql_cast(null(), column.type) for name, column in _OF_TAPE.items()}
_OF_PROGRAM: Final[dict[str, Any]] = {"machine": col(Program.machine)}

_CURRENT = ~col(Decoding.superseded)


def _rows(thing: Any, values: Mapping[str, Any]) -> Rows:
    columns = [column.label(name) for name, column in values.items()]
    return select(thing.label("thing"), *columns)


def _bundle(values: Mapping[str, Any], *sources: Rows) -> Bundle:
    facets = tuple(name for name in values if name != "year_from")
    return Bundle(facets, tuple(source.subquery() for source in sources))


_READ_FROM = col(Reading.tape_id) == col(Tape.id)
_MADE_OF_READ = and_(col(Decoding.image_id) == col(Reading.image_id), _CURRENT)
_CARRIED = col(Program.id) == col(Tape.program_id)
_READ_BY = col(Person.id) == col(Reading.accepted_by_id)
_ENTERED_BY = col(Person.id) == col(Tape.created_by_id)


def _tapes_with_images(thing: Any) -> Rows:
    """Tapes beside each image read from them; those without any too."""
    return (
        _rows(thing, _OF_IMAGE | _OF_TAPE)
        .select_from(Tape)
        .outerjoin(Reading, _READ_FROM)
        .outerjoin(Decoding, _MADE_OF_READ)
    )


def _bundles(of_person: Mapping[str, Any]) -> Bundles:
    return {
        HitKind.LISTING: (
            _bundle(_OF_IMAGE, _rows(col(Decoding.image_id), _OF_IMAGE).where(_CURRENT)),
            _bundle(
                _OF_TAPE,
                _rows(col(Reading.image_id), _OF_TAPE).select_from(Reading).join(Tape, _READ_FROM),
            ),
            _bundle(
                _OF_PROGRAM,
                _rows(col(Reading.image_id), _OF_PROGRAM)
                .select_from(Reading)
                .join(Tape, _READ_FROM)
                .join(Program, _CARRIED),
                _rows(col(Version.image_id), _OF_PROGRAM)
                .select_from(Version)
                .join(Program, col(Program.id) == col(Version.program_id)),
            ),
            _bundle(
                of_person,
                _rows(col(Reading.image_id), of_person).select_from(Reading).join(Person, _READ_BY),
            ),
        ),
        HitKind.TAPE: (
            _bundle(_OF_IMAGE | _OF_TAPE, _tapes_with_images(col(Tape.id))),
            _bundle(
                _OF_PROGRAM,
                _rows(col(Tape.id), _OF_PROGRAM).select_from(Tape).join(Program, _CARRIED),
            ),
            _bundle(
                of_person,
                _rows(col(Tape.id), of_person).select_from(Tape).join(Person, _ENTERED_BY),
                _rows(col(Reading.tape_id), of_person).select_from(Reading).join(Person, _READ_BY),
            ),
        ),
        HitKind.PROGRAM: (
            _bundle(
                _OF_IMAGE | _OF_TAPE,
                _tapes_with_images(col(Tape.program_id)),
                _rows(col(Version.program_id), _OF_IMAGE | _NOTHING_OF_TAPE)
                .select_from(Version)
                .join(Decoding, col(Decoding.image_id) == col(Version.image_id))
                .where(_CURRENT),
            ),
            _bundle(_OF_PROGRAM, _rows(col(Program.id), _OF_PROGRAM)),
            _bundle(
                of_person,
                _rows(col(Tape.program_id), of_person).select_from(Tape).join(Person, _ENTERED_BY),
                _rows(col(Tape.program_id), of_person)
                .select_from(Tape)
                .join(Reading, _READ_FROM)
                .join(Person, _READ_BY),
            ),
        ),
    }


BUNDLES: Final = _bundles({"contributor": col(Person.display_name)})
"""For images (by id), tapes and programs, the rows that say what each facet is of them."""

PUBLIC_BUNDLES: Final = _bundles({"contributor": case((col(Person.named), Person.display_name))})
"""The same, where only those who agreed to it are named."""


def bundles_for(work: Work) -> Bundles:
    """Those of which whoever acts may know the values."""
    return BUNDLES if named.sees_all(work) else PUBLIC_BUNDLES
