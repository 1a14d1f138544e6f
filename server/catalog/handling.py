"""Whether a tape may be run: what its condition says to whoever wants to put it into a machine."""

from collections.abc import Iterator

from server.catalog import condition
from server.catalog.held import tape_of
from server.catalog.vocabulary import CAUTIONS, Condition, Hazard
from server.catalog.work import Work

DO_NOT_RUN = "Do not run this tape"


def warnings_of(work: Work, accession_number: str) -> tuple[str, ...]:
    """What to heed before the tape is run; the gravest first, nothing where nothing is known.

    Raises:
        NotFound: there is no such tape.
    """
    return tuple(_warnings(work, accession_number))


def _warnings(work: Work, accession_number: str) -> Iterator[str]:
    tape = tape_of(work, accession_number)
    caution = CAUTIONS[Hazard(tape.hazard)]
    if caution:
        yield f"{DO_NOT_RUN}. {caution}"
    if tape.condition == Condition.UNFIT:
        yield f"{DO_NOT_RUN}: its newest condition report finds it unfit for a reader."
        return
    newest = condition.newest(work, tape)
    if newest is not None and newest.machine_readable is False:
        yield f"{DO_NOT_RUN}: on {newest.checked_on} a reader could not take it."
    elif tape.condition == Condition.FRAGILE:
        yield "Fragile: run it only if there is no other way, slowly, and watch it all along."
