"""Where the newest reports on the tapes of an image say that the paper is damaged."""

from typing import Final

from server.catalog import condition
from server.catalog.condition_values import Defect
from server.catalog.defect_words import DEFECTS
from server.catalog.held import tape_of
from server.catalog.records import ImageRecord
from server.catalog.work import Work
from server.tape.image import FRAME_PITCH_MM
from server.tape.paper_defects import PaperDefect

MOST_TAPES: Final = 5
"""Tapes of one image whose reports are asked; few images were read from more than two."""


def of_image(work: Work, image: ImageRecord) -> tuple[PaperDefect, ...]:
    """The defects that have a place on the image, in the order of the tape.

    Counted from the first frame of the image, as the forms of reports ask for it. Where several
    tapes gave the image, each defect names its tape.
    """
    links = image.tapes[:MOST_TAPES]
    told: list[PaperDefect] = []
    for link in links:
        newest = condition.newest(work, tape_of(work, link.accession_number))
        if newest is None:
            continue
        whose = f"tape {link.accession_number}, " if len(links) > 1 else ""
        where = f" ({whose}report of {newest.checked_on})"
        for each in newest.defects:
            defect = Defect.model_validate(each)
            if defect.frame is not None and defect.frame < image.bytes:
                told.append(_placed(defect, defect.frame, where))
    return tuple(sorted(told, key=lambda each: each.frame))


def _placed(defect: Defect, frame: int, where: str) -> PaperDefect:
    position = defect.position_mm or 0.0
    place = f"{position / 1000:.3g} m" if position >= 1000 else f"{position:.0f} mm"
    return PaperDefect(
        kind=defect.kind,
        trait=DEFECTS[defect.kind].trait,
        frame=frame,
        frames=max(1, round((defect.length_mm or 0.0) / FRAME_PITCH_MM)),
        told=f"{defect.kind} logged at {place}{where}",
    )
