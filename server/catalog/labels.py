"""Labels: what stands on the box of a tape, or on a tag at its leader."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from server.catalog import handling, programs, punching, tapes
from server.catalog.errors import Invalid
from server.catalog.tape_values import TapeRecord
from server.catalog.work import Work

MOST: Final = 60
"""Labels printed at once: five sheets."""


@dataclass(frozen=True, slots=True)
class Label:
    """The text of one label; what is not known is empty.

    `needs` names what must be in the machine first; `warnings` what to heed before it is run.
    """

    accession_number: str
    title: str
    version: str
    machine: str
    needs: str
    made: str
    medium: str
    levels: int | None
    length_mm: float | None
    frames: int | None
    punched_from: int | None
    warnings: tuple[str, ...]


def of(work: Work, numbers: Sequence[str]) -> tuple[Label, ...]:
    """The labels of tapes, in the order asked for.

    Raises:
        NotFound: there is no such tape.
        Invalid: none is asked for, or more than `MOST`.
    """
    if not 0 < len(numbers) <= MOST:
        raise Invalid(
            f"{len(numbers):,} labels were asked for.",
            where="tape",
            mend=f"Ask for the labels of 1 to {MOST} tapes at a time.",
            fields={"tape": f"from 1 to {MOST} tapes"},
        )
    return tuple(_label(work, tapes.get(work, number)) for number in numbers)


def _label(work: Work, tape: TapeRecord) -> Label:
    made = punching.of_tape(work, tape.accession_number)
    version = made.version if made else None
    image = tape.image
    if version is None and image is not None and image.versions:
        version = image.versions[0]
    return Label(
        accession_number=tape.accession_number,
        title=tape.title,
        version=version.label if version else "",
        machine=programs.get(work, tape.program).machine if tape.program else "",
        needs=tape.loader_requirement,
        made=tape.made or "",
        medium=tape.medium,
        levels=tape.levels,
        length_mm=image.length_mm if image else None,
        frames=image.bytes if image else None,
        punched_from=made.id if made else None,
        warnings=handling.warnings_of(work, tape.accession_number),
    )
