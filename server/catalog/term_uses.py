"""Where records use the words of vocabularies: how often, and putting another in their place."""

from collections import Counter
from collections.abc import Collection, Mapping
from types import MappingProxyType
from typing import Any, Final, NamedTuple, Protocol

from sqlalchemy import func, insert, select, update
from sqlmodel import col

from server.catalog.events import EventType, ObjectKind
from server.catalog.terms import Vocabulary
from server.catalog.work import Work
from server.store.events import Event
from server.store.programs import Program
from server.store.punching import Punching
from server.store.tapes import Tape

_AT_ONCE: Final = 500
"""Values in one statement; databases bound how many there may be."""


class Changed(NamedTuple):
    """A record whose word was changed: its key, and what its field held before and after."""

    key: str
    before: Any
    after: Any


class Use(Protocol):
    """A field of a kind of record that holds words of a vocabulary."""

    kind: ObjectKind
    field: str

    def counts(self, work: Work) -> Mapping[str, int]:
        """How many records have each word."""

    def put(
        self,
        work: Work,
        old: str,
        new: str,
        only: Collection[str] | None,
        beside: Collection[str] = (),
    ) -> Collection[Changed]:
        """Give the records that have `old` (or those of the keys `only`) `new` instead.

        Where a record may have several words, those of the keys `beside` keep `old` too.
        """


class _Column:
    """A column of its own for the word."""

    def __init__(self, kind: ObjectKind, table: Any, key: str, field: str) -> None:
        self.kind, self.field = kind, field
        self._table, self._key, self._column = (
            table,
            col(getattr(table, key)),
            getattr(table, field),
        )

    def counts(self, work: Work) -> Mapping[str, int]:
        """How many records have each word."""
        rows = work.session.execute(
            select(col(self._column), func.count())
            .where(col(self._column) != "")
            .group_by(col(self._column))
        )
        return {str(word): int(count) for word, count in rows}

    def put(
        self,
        work: Work,
        old: str,
        new: str,
        only: Collection[str] | None,
        beside: Collection[str] = (),
    ) -> Collection[Changed]:
        """Give the records that have `old` (or those of the keys `only`) `new` instead.

        Where a record may have several words, those of the keys `beside` keep `old` too.
        """
        del beside
        work.session.flush()
        table = self._table
        rows = work.session.execute(
            select(col(table.id), self._key).where(col(self._column) == old)
        ).all()
        chosen = [(number, str(key)) for number, key in rows if only is None or str(key) in only]
        for at in range(0, len(chosen), _AT_ONCE):
            ids = [number for number, _ in chosen[at : at + _AT_ONCE]]
            work.session.execute(
                update(table)
                .where(col(table.id).in_(ids))
                .values({self.field: new, "revision": table.revision + 1, "updated_at": work.now})
            )
        work.session.expire_all()
        return [Changed(key, old, new) for _, key in chosen]


class _Peripherals:
    """The peripherals of programs: a list in each, and no more programs than people write."""

    kind, field = ObjectKind.PROGRAM, "peripherals"

    def counts(self, work: Work) -> Mapping[str, int]:
        """How many records have each word."""
        lists = work.session.scalars(select(col(Program.peripherals)))
        return Counter(word for several in lists for word in several)

    def put(
        self,
        work: Work,
        old: str,
        new: str,
        only: Collection[str] | None,
        beside: Collection[str] = (),
    ) -> Collection[Changed]:
        """Give the records that have `old` (or those of the keys `only`) `new` instead.

        Where a record may have several words, those of the keys `beside` keep `old` too.
        """
        changed = []
        for program in work.session.scalars(select(Program)):
            held = list(program.peripherals)
            if old not in held or (only is not None and str(program.id) not in only):
                continue
            put = [new if word == old else word for word in held]
            after = list(dict.fromkeys([*put, old] if str(program.id) in beside else put))
            changed.append(Changed(str(program.id), held, after))
            program.peripherals = after
            program.revision += 1
            program.updated_at = work.now
        work.session.flush()
        return changed


USES: Final[Mapping[Vocabulary, tuple[Use, ...]]] = MappingProxyType(
    {
        Vocabulary.LANGUAGE: (_Column(ObjectKind.PROGRAM, Program, "id", "language"),),
        Vocabulary.MACHINE: (_Column(ObjectKind.PROGRAM, Program, "id", "machine"),),
        Vocabulary.PERIPHERAL: (_Peripherals(),),
        Vocabulary.MEDIUM: (
            _Column(ObjectKind.TAPE, Tape, "accession_number", "medium"),
            _Column(ObjectKind.PUNCHING, Punching, "id", "medium"),
        ),
        Vocabulary.COLOUR: (_Column(ObjectKind.TAPE, Tape, "accession_number", "colour"),),
    }
)
"""The fields that hold the words of each vocabulary."""


def counts(work: Work, vocabulary: Vocabulary) -> Mapping[str, int]:
    """How many records use each word."""
    total: Counter[str] = Counter()
    for use in USES[vocabulary]:
        total.update(use.counts(work))
    return total


Put = list[tuple[Use, Collection[Changed]]]
"""What was changed where, not yet logged."""


def put(
    work: Work,
    vocabulary: Vocabulary,
    old: str,
    new: str,
    only: Mapping[str, Collection[str]] | None = None,
    beside: Collection[str] = (),
) -> Put:
    """Put `new` in the place of `old` in all records, or those whose keys `only` names by field.

    Records that may have several words keep `old` too, where `beside` has their keys.
    """
    done = []
    for use in USES[vocabulary]:
        keys = None if only is None else only.get(name_of(use), ())
        changed = use.put(work, old, new, keys, beside)
        if changed:
            done.append((use, changed))
    return done


def name_of(use: Use) -> str:
    """What the log calls a field of a kind of record."""
    return f"{use.kind}.{use.field}"


def touched(done: Put) -> dict[str, list[str]]:
    """The keys of the records that were changed, by the name of the field."""
    return {name_of(use): [each.key for each in changed] for use, changed in done}


def had(done: Put, word: str) -> list[str]:
    """The keys of records that may have several words, and had that one before."""
    return [
        each.key
        for _, changed in done
        for each in changed
        if isinstance(each.before, list) and word in each.before
    ]


def log(work: Work, done: Put, because: str, part_of: int) -> None:
    """Write into the history of each record that it was changed, as a part of an entry."""
    for use, changed in done:
        rows = [_row(work, use, each, because, part_of) for each in changed]
        work.session.execute(insert(Event), rows)


def _row(work: Work, use: Use, each: Changed, because: str, part_of: int) -> dict[str, Any]:
    return {
        "type": EventType.MODIFICATION,
        "occurred_at": work.now,
        "object_kind": use.kind,
        "object_key": each.key,
        "person_id": work.actor.person_id,
        "agent": work.actor.name,
        "outcome": "success",
        "detail": f"changed {use.field}: {because}",
        "facts": {
            "before": {use.field: each.before},
            "after": {use.field: each.after},
            "part_of": part_of,
        },
    }
