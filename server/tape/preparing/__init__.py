"""A held tape made ready for the punch: the same content, with leader, trailer and lettering.

Nothing is changed in what the archive holds; what differs on the prepared tape is said.
"""

from server.tape.formats import FORMATS, Formats
from server.tape.identify import Decoded
from server.tape.image import Orientation, Span
from server.tape.preparing.preparation import Pattern, Preparation
from server.tape.preparing.prepared import Prepared, Reel
from server.tape.preparing.reels import wound

__all__ = ["Pattern", "Preparation", "Prepared", "Reel", "prepare"]


def prepare(source: Decoded, how: Preparation, formats: Formats = FORMATS) -> Prepared:
    """The reels that carry what `source` carries, as `how` asks.

    Raises:
        CannotPrepare: something asked for is out of bounds, or would lose what the tape means;
            says what, and where on the tape.
    """
    how.check()
    image = source.image.turned(source.orientation)
    span = image.span_as_read(source.decoding.data, source.orientation)
    reel = wound(
        1,
        image.frames[slice(*span)],
        image.levels,
        bytes(how.leader_frames),
        bytes(how.trailer_frames),
    )
    return Prepared(
        reels=(reel,),
        changes=(),
        cautions=(),
        format=source.decoding.format,
        code=source.decoding.code,
        parity=source.decoding.parity,
    )
