"""Accession numbers: unique, given in turn within a year, never given twice.

Never means after a tape was given another number too, or left the collection: the database
keeps every number that was ever given, and refuses it to any other tape.
"""

import re

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog.errors import Conflict
from server.catalog.work import Work
from server.store.rights import NumberGiven
from server.store.sight import lifted
from server.store.tapes import Tape, accession_key

_TRIES = 50
"""Each try is lost only to somebody who took the number meanwhile."""


def enter(work: Work, tape: Tape) -> None:
    """Add `tape` under its accession number, or under the next of this year if it has none.

    Raises:
        Conflict: the number is taken.
    """
    if tape.accession_number:
        if not _added(work, tape):
            raise number_taken(tape.accession_number)
        return
    for _ in range(_TRIES):
        tape.accession_number = _next_number(work)
        if _added(work, tape):
            return
    raise Conflict(
        "Too many tapes are being entered at once.",
        where="accession_number",
        mend="Try again in a moment.",
    )


def require_free(work: Work, number: str, tape: Tape) -> None:
    """Nothing, if no tape but this one has that number, or ever had it.

    Raises:
        Conflict: one has or had.
    """
    holder = select(col(NumberGiven.tape_id)).where(col(NumberGiven.number) == number)
    with lifted(work.session):
        holds = work.session.scalar(holder)
    if holds not in (None, tape.id):
        raise number_taken(number)


def number_now(work: Work, number: str) -> str | None:
    """The number that a tape has now, by one that it had before; None where there is none."""
    return work.session.scalar(
        select(col(Tape.accession_number))
        .join(NumberGiven, col(NumberGiven.tape_id) == col(Tape.id))
        .where(col(NumberGiven.number) == number, col(Tape.accession_number) != number)
    )


def number_taken(number: str) -> Conflict:
    """The refusal of a number that another tape has or had."""
    return Conflict(
        f"{number} is the number of another tape, or was once.",
        where=number,
        mend="Leave the accession number empty to be given the next one.",
        fields={"accession_number": "this number is taken"},
    )


def _added(work: Work, tape: Tape) -> bool:
    try:
        with work.session.begin_nested():
            work.session.add(tape)
    except IntegrityError as error:
        if "accession_number" not in str(error.orig):
            raise
        return False
    return True


def _next_number(work: Work) -> str:
    year = f"{work.now.year:04}."
    first = accession_key(year)
    with lifted(work.session):
        highest = work.session.scalar(
            select(col(NumberGiven.number))
            .where(col(NumberGiven.key) >= first, col(NumberGiven.key) < first + ":")
            .order_by(col(NumberGiven.key).desc())
            .limit(1)
        )
    # ':' follows '9', so the range holds what goes on with a digit.
    taken = re.match(r"[0-9]+\.([0-9]+)", highest or f"{year}0")
    assert taken is not None
    return f"{year}{int(taken[1]) + 1}"
