"""Decisions on families: kept by the names of images, so that they outlive every decoding."""

from collections.abc import Collection, Iterable, Mapping

from sqlalchemy import or_, select
from sqlmodel import col

from server.catalog import events, named
from server.catalog.errors import Conflict
from server.catalog.events import EventType, ObjectKind
from server.catalog.family_values import Decided, DecisionRecord
from server.catalog.work import COMMAND, Role, Work
from server.store.families import FamilyDecision
from server.store.people import Person

Pair = frozenset[str]
Decisions = Mapping[Pair, DecisionRecord]

_WORDS = {
    Decided.TOGETHER: "belongs to one family with",
    Decided.APART: "does not belong to one family with",
    Decided.MADE_FROM: "was made from",
    Decided.UNDECIDED: "nothing is decided any more on it and",
}


def of(work: Work, names: Collection[str]) -> Decisions:
    """What counts of all that was decided about the images `names` and others, by pair."""
    mine, other = col(FamilyDecision.sha256), col(FamilyDecision.other_sha256)
    rows = work.session.execute(
        select(FamilyDecision, named.name_of(work))
        .outerjoin(Person, col(Person.id) == col(FamilyDecision.made_by_id))
        .where(or_(mine.in_(names), other.in_(names)))
        .order_by(col(FamilyDecision.id))
    )
    newest = {
        Pair((row.sha256, row.other_sha256)): DecisionRecord(
            kind=Decided(row.kind),
            sha256=row.sha256,
            other=row.other_sha256,
            by=name or COMMAND.name,
            at=row.made_at,
            note=row.note,
        )
        for row, name in rows
    }
    return {
        pair: decision
        for pair, decision in newest.items()
        if decision.kind is not Decided.UNDECIDED
    }


def record(work: Work, kind: Decided, sha256: str, others: Iterable[str], note: str) -> None:
    """Record a decision on an image and each of `others`, as one event.

    Raises:
        Conflict: the image would have been made from what was made from it.
    """
    work.actor.require(Role.ARCHIVIST)
    names = sorted(others)
    for other in names if kind is Decided.MADE_FROM else ():
        _refuse_cycle(work, sha256, other)
    work.session.add_all(
        FamilyDecision(
            kind=kind,
            sha256=sha256,
            other_sha256=other,
            note=note,
            made_at=work.now,
            made_by_id=work.actor.person_id,
        )
        for other in names
    )
    work.session.flush()
    detail = f"{_WORDS[kind]} {', '.join(name[:12] for name in names[:3])}"
    detail += f" and {len(names) - 3} more" if len(names) > 3 else ""
    facts = {"decision": kind, "others": names, "note": note}
    events.record(work, EventType.FAMILY, ObjectKind.IMAGE, sha256, detail=detail, facts=facts)


def made_from(decisions: Decisions) -> dict[str, str]:
    """From what each image was made, where somebody recorded it; the newest record counts."""
    recorded = [each for each in decisions.values() if each.kind is Decided.MADE_FROM]
    return {each.sha256: each.other for each in sorted(recorded, key=lambda each: each.at)}


def _refuse_cycle(work: Work, sha256: str, other: str) -> None:
    seen, at = {sha256}, other
    while at not in seen:
        seen.add(at)
        before = made_from(of(work, {at})).get(at)
        if before is None:
            return
        at = before
    raise Conflict(
        "An image cannot have been made from one that was made from it.",
        where=other,
        mend="Take back the other record first, if it is the one that is wrong.",
        fields={"other": "this was recorded as made from the image itself"},
    )
