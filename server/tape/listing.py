"""The listing: the decoded text of an image, line by line, each line tied to its frames."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final, NamedTuple

from server.tape.image import Image, Orientation, Span

MOST_LINES: Final = 200_000
"""More lines than the longest roll has frames are not listed; the image keeps them."""


class Line(NamedTuple):
    """One line of a listing.

    `key` is what the content itself numbers the line by: a BASIC line number, the address of
    a dump; None where it does not number its lines.
    """

    text: str
    frame: int
    frames: int
    key: int | None = None


@dataclass(frozen=True, slots=True)
class Listing:
    """The lines of an image, in the order in which they are punched."""

    lines: tuple[Line, ...] = ()

    def __len__(self) -> int:
        return len(self.lines)

    def __iter__(self) -> Iterator[Line]:
        return iter(self.lines)

    @property
    def text(self) -> str:
        """All lines, each ended by a line feed."""
        return "".join(f"{line.text}\n" for line in self.lines)

    def as_read(self, image: Image, orientation: Orientation) -> "Listing":
        """The same listing, its frames placed in `image` when made from the turned image."""
        if not orientation.runs_backwards:
            return self
        return Listing(tuple(_placed(self.lines, image, orientation)))


def _placed(lines: Iterable[Line], image: Image, orientation: Orientation) -> Iterator[Line]:
    for line in lines:
        span = image.span_as_read(Span(line.frame, line.frame + line.frames), orientation)
        yield line._replace(frame=span.start)
