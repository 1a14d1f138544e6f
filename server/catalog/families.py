"""Families: the versions of a program and what resembles them, laid out by least distance."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Final

from server.catalog import decisions, kinship
from server.catalog.decisions import Pair as NamePair
from server.catalog.errors import Invalid, refused
from server.catalog.family_facts import Facts, facts_of, root_of
from server.catalog.family_members import (
    Gathered,
    gather,
    ids_of,
    programs_of,
    seeds_of,
)
from server.catalog.family_tree import Hanging, Length, Pair, grown
from server.catalog.family_values import (
    Decided,
    DecisionRecord,
    Family,
    Member,
    NewDecision,
    TakenOut,
)
from server.catalog.held import image_id_of, known, program_of, titles
from server.catalog.records import KinRecord
from server.catalog.work import Role, Work
from server.tape.kinship import NEAR_CUTOFF, Kind, Kinship

_MEASURED: Final = 8
"""With so many members one that resembles none of them is compared, to hang it somewhere."""


def of_program(work: Work, program_id: int) -> Family:
    """The family of a program.

    Raises:
        NotFound: there is none of that id.
    """
    program = program_of(work, program_id)
    seeds = seeds_of(work, known(program.id))
    return _laid_out(work, gather(work, seeds, program.id), program.id, program.title)


def of_image(work: Work, sha256: str) -> Family:
    """The family that an image belongs to: that of a program, or its own kin.

    Raises:
        NotFound: it is not held.
    """
    image_id = image_id_of(work, sha256)
    alone = gather(work, [image_id], None)
    for program in _programs_near(work, image_id, alone):
        family = of_program(work, program)
        if _holds(family.root, sha256.lower()):
            return family
    return _laid_out(work, alone, None, titles(work, [image_id])[image_id].title)


def decide(work: Work, sha256: str, new: NewDecision) -> Family:
    """Record what an archivist decided about an image; gives the family that it now belongs to.

    Raises:
        NotFound: one of the images is not held.
        Invalid: the decision needs another image, or the two are one.
        Conflict: the image would have been made from what was made from it.
    """
    work.actor.require(Role.ARCHIVIST)
    name = sha256.lower()
    image_id_of(work, name)
    decisions.record(work, new.kind, name, _others(work, name, new), new.note)
    return of_image(work, name)


def _others(work: Work, name: str, new: NewDecision) -> set[str]:
    """Whom the decision is on besides the image."""
    if new.other is not None:
        image_id_of(work, new.other)
        if new.other != name:
            return {new.other}
        raise _needs_other("An image is always of one family with itself.")
    if new.kind is Decided.APART:
        family = of_image(work, name)
        return set(_names(family.root)) - {name} or _nobody()
    if new.kind is Decided.UNDECIDED:
        on = decisions.of(work, {name})
        return {other for pair in on for other in pair if other != name} or _nobody()
    raise _needs_other("Say which other image is meant.")


def _nobody() -> set[str]:
    raise _needs_other("There is no other image that this could be about.")


def _needs_other(what: str) -> Invalid:
    return refused("other", what, "Give the SHA-256 of another image.")


def _programs_near(work: Work, image_id: int, alone: Gathered) -> list[int]:
    """Programs whose family the image may belong to: its own, then those of its kin."""
    own = programs_of(work, [image_id]).get(image_id)
    if own:
        return own
    around = [image_id, *(kin for kin, _ in _kin_of(work, image_id)), *alone.names]
    found = programs_of(work, set(around))
    return list(dict.fromkeys(program for each in around for program in found.get(each, ())))


def _kin_of(work: Work, image_id: int) -> list[tuple[int, KinRecord]]:
    records = kinship.of(work, image_id)
    ids = ids_of(work, [each.sha256 for each in records])
    return [(ids[each.sha256], each) for each in records]


def _holds(member: Member | None, name: str) -> bool:
    return name in _names(member)


def _names(member: Member | None) -> list[str]:
    if member is None:
        return []
    return [member.sha256, *(name for each in member.members for name in _names(each))]


def _laid_out(work: Work, found: Gathered, program: int | None, title: str) -> Family:
    """The family, from who belongs to it."""
    members = list(found.names)
    out = _taken_out(work, found)
    if not members:
        return Family(program, title, 0, None, "", out, found.more)
    facts = facts_of(work, members, program)
    kin = kinship.among(work, members)
    lengths = {Pair(pair): _length(each) for pair, each in kin.items()}
    ids = {name: image_id for image_id, name in found.names.items()}
    recorded = decisions.made_from(found.decisions)
    made_from = {
        ids[name]: ids[other] for name, other in recorded.items() if {name, other} <= ids.keys()
    }
    root, why = root_of(members, facts, made_from, lengths)

    def measure(image_id: int, others: Collection[int]) -> Mapping[int, Length]:
        fresh = kinship.afresh(work, image_id, tuple(others)[:_MEASURED])
        kin.update({(other, image_id): each for other, each in fresh.items()})
        return {other: _length(each) for other, each in fresh.items()}

    tree = grown(members, root, lengths, made_from, measure)
    named = _Naming(work, found, facts, kin)
    return Family(program, title, len(members), named.member(root, tree), why, out, found.more)


def _length(each: Kinship) -> Length:
    in_part = each.kind in {Kind.PART_OF, Kind.HOLDS}
    return Length(in_part, round(1 - each.similarity, 6), each.distance)


class _Naming:
    """Gives each member of the tree what is shown of it."""

    def __init__(
        self,
        work: Work,
        found: Gathered,
        facts: Mapping[int, Facts],
        kin: Mapping[tuple[int, int], Kinship],
    ) -> None:
        self._work = work
        self._found = found
        self._facts = facts
        self._kin = kin
        self._titles = titles(work, found.names)

    def member(self, image_id: int, tree: Sequence[Hanging], on: int | None = None) -> Member:
        """The member with all that hang on it."""
        title, facts = self._titles[image_id], self._facts[image_id]
        how = None if on is None else self._how(image_id, on)
        hanging = [each.member for each in tree if each.on == image_id]
        return Member(
            sha256=self._found.names[image_id],
            title=title.title,
            accession=title.accession,
            do_not_run=title.do_not_run,
            label=facts.label,
            made=facts.made,
            kin=how,
            near=how is None or how.kinship != Kind.UNRELATED,
            decision=None if on is None else self._decision(image_id, on),
            members=tuple(self.member(each, tree, image_id) for each in hanging),
        )

    def _decision(self, image_id: int, on: int) -> DecisionRecord | None:
        names = self._found.names
        return self._found.decisions.get(NamePair((names[image_id], names[on])))

    def _how(self, image_id: int, on: int) -> KinRecord:
        """How a member relates to the one that it hangs on."""
        known_pair = self._kin.get((on, image_id))
        other = self._kin.get((image_id, on))
        found = known_pair or (other.turned() if other is not None else None)
        if found is None:
            found = kinship.afresh(self._work, image_id, [on])[on]
        near = found.similarity >= NEAR_CUTOFF
        shown = found if near else replace(found, kind=Kind.UNRELATED)
        return kinship.named(self._work, {on: shown})[on]


def _taken_out(work: Work, found: Gathered) -> tuple[TakenOut, ...]:
    named = titles(work, found.taken_out)
    told = []
    for image_id, name in found.taken_out.items():
        apart = [
            each
            for pair, each in found.decisions.items()
            if name in pair and each.kind is Decided.APART and pair & set(found.names.values())
        ]
        if apart and image_id not in found.names:
            title = named[image_id]
            told.append(TakenOut(name, title.title, title.accession, apart[0]))
    return tuple(told)
