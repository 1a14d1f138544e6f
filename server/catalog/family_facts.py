"""What decides where the tree of a family begins: labels, dates, and what somebody recorded."""

import re
from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import col

from server.catalog.family_tree import Length, Pair, medoid
from server.catalog.work import Work
from server.store.images import Reading
from server.store.programs import Version
from server.store.tapes import Tape


class Facts(NamedTuple):
    """The label of the version whose master an image is, and the date of its tape."""

    label: str | None
    made: str | None


def facts_of(work: Work, members: Collection[int], program: int | None) -> dict[int, Facts]:
    """What is known of each member besides its kin; labels are those of the program's versions."""
    labels: dict[int, str] = {}
    if program is not None:
        rows = work.session.execute(
            select(col(Version.image_id), col(Version.label)).where(
                col(Version.program_id) == program
            )
        )
        labels.update((image_id, label) for image_id, label in rows)
    dates = work.session.execute(
        select(col(Reading.image_id), col(Tape.made))
        .join(Tape, col(Tape.id) == col(Reading.tape_id))
        .where(col(Reading.image_id).in_(members), col(Tape.made).is_not(None))
    )
    made: dict[int, str] = {}
    for image_id, date in dates:
        if date is not None:
            made[image_id] = min(made.get(image_id, date), date, key=_by_date)
    return {each: Facts(labels.get(each), made.get(each)) for each in members}


def _by_date(made: str) -> str:
    """What sorts dates of ISO 8601-2: what is not known counts as the earliest it may be."""
    return re.sub(r"[~?%]", "", made).replace("X", "0")


def root_of(
    members: Sequence[int],
    facts: Mapping[int, Facts],
    made_from: Mapping[int, int],
    lengths: Mapping[Pair, Length],
) -> tuple[int, str]:
    """Where the tree begins, and why there, in a sentence.

    With one from which others were recorded as made; else with the only version; else with the
    version, or where there is none the image, whose tape is dated earliest; else with the least
    unlike all others. Of one alone there is nothing to say.
    """
    if len(members) == 1:
        return members[0], ""
    free = [each for each in members if each not in made_from]
    recorded = [each for each in free if each in made_from.values()]
    if recorded:
        first = _earliest(recorded, facts)
        return recorded[0] if first is None else first, "Others were recorded as made from it."
    versions = [each for each in free if facts[each].label is not None]
    if len(versions) == 1:
        return versions[0], "It alone is kept as a version of the program."
    versions = versions or free
    first = _earliest(versions, facts)
    if first is not None:
        return first, _dated(first, versions, facts)
    return medoid(versions, lengths), "No tape is dated; it is the least unlike all the others."


def _dated(first: int, versions: Sequence[int], facts: Mapping[int, Facts]) -> str:
    made = facts[first].made
    if [facts[each].made for each in versions].count(made) > 1:
        return f"No tape is said to be made before its own: {made}."
    return f"Its tape is said to be the first made: {made}."


def _earliest(members: Sequence[int], facts: Mapping[int, Facts]) -> int | None:
    dated = [(_by_date(facts[each].made or ""), at, each) for at, each in enumerate(members)]
    return min((each for each in dated if each[0]), default=(None, None, None))[2]
