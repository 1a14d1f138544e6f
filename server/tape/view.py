"""A view: an image turned one way, with what several formats ask of it worked out once."""

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.tape.codes import CODES
from server.tape.codes.base import Characters
from server.tape.image import Frames, Image, Orientation, Span


class View:
    """An image as it would have been read in `orientation`.

    `image` is already turned; `array`, `data` and `histogram` are those of the turned image.
    """

    def __init__(self, image: Image, orientation: Orientation = Orientation.AS_READ) -> None:
        self.image = image.turned(orientation)
        self.orientation = orientation
        self._characters: dict[str, Characters] = {}

    def part(self, span: Span) -> "View":
        """The frames in `span`, which holds one at least, as a view of their own."""
        part = View(Image(self.image.frames[slice(*span)], self.image.levels))
        part.orientation = self.orientation
        return part

    @property
    def array(self) -> Frames:
        """The frames, a byte each."""
        return self.image.array

    @cached_property
    def data(self) -> Span:
        """The frames between leader and trailer."""
        return self.image.data_span()

    @cached_property
    def histogram(self) -> NDArray[np.intp]:
        """How often each of the 256 frames stands between leader and trailer."""
        return np.bincount(self.array[slice(*self.data)], minlength=256)

    def characters(self, code: str = "iso-646") -> Characters:
        """The characters of the image in the code of that name, read once."""
        if code not in self._characters:
            self._characters[code] = CODES[code].read(self.array, self.image.levels)
        return self._characters[code]
