"""Pictures of a tape: any of its frames as a strip, what was found or seen among them marked."""

from dataclasses import dataclass

from server.catalog import defect_places, images
from server.catalog.records import ImageRecord
from server.catalog.work import Work
from server.tape.findings import Finding
from server.tape.image import Image, Orientation, Span
from server.tape.paper_defects import PaperDefect
from server.tape.picture import MOST_FRAMES, strip


@dataclass(frozen=True, slots=True)
class Strip:
    """A picture, as SVG, and the frames that it shows, counted as the image was read."""

    svg: str
    span: Span


@dataclass(frozen=True, slots=True)
class Pictured:
    """An image of which strips are drawn."""

    image: Image
    orientation: Orientation
    findings: tuple[Finding, ...]
    defects: tuple[PaperDefect, ...] = ()

    def strip(self, start: int, frames: int, *, as_punched: bool = False) -> Strip:
        """So many frames from `start` on, as read or turned as they were punched.

        Clipped to what there is and, in length, to `MOST_FRAMES`; one frame at least.
        """
        first = min(max(start, 0), len(self.image) - 1)
        stop = min(first + min(max(frames, 1), MOST_FRAMES), len(self.image))
        way = self.orientation if as_punched else Orientation.AS_READ
        span = Span(first, stop)
        drawn = strip(self.image, span, self.findings, orientation=way, defects=self.defects)
        return Strip(drawn, span)


def of(work: Work, image: ImageRecord) -> Pictured:
    """What is needed to draw strips of `image`."""
    frames = images.frames(work, image.sha256)
    return Pictured(
        Image(frames, image.levels),
        Orientation(image.orientation),
        tuple(image.findings),
        defect_places.of_image(work, image),
    )
