"""Files that look like something other than the image of a tape.

Nobody can tell from the bytes alone, and a damaged tape must never be refused, so such a file
is taken like any other, and whoever sent it is told what it looks like.
"""

from server.tape.codes.base import Parity
from server.tape.identify import Decoded

_BEGINNINGS = (
    # File signatures as published in each format's own specification (from memory).
    (b"\xff\xd8\xff", "a JPEG photograph"),
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
    (b"GIF87a", "a GIF picture"),
    (b"GIF89a", "a GIF picture"),
    (b"II*\0", "a TIFF picture"),
    (b"MM\0*", "a TIFF picture"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"\x1f\x8b\x08", "a gzip archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"%PDF-", "a PDF document"),
    (b"\x7fELF", "a program for a present-day computer"),
    (b"RIFF", "a sound or film recording"),
)

_LOOKS_LIKE = (
    "The file looks like {name}, not like the image of a tape. It was taken as it is; if it was"
    " sent by mistake, unpack or convert it and upload the frames, one byte each."
)

_NO_CHECK = (
    "The file carries neither leader nor parity, like a text file from a computer. It was taken"
    " as it is; a tape punched from it needs a leader, and nothing on it would show a wrong hole."
)


def notes_on(decoded: Decoded) -> tuple[str, ...]:
    """Plain warnings about the file that was decoded; most have none."""
    data = decoded.image.frames
    for beginning, name in _BEGINNINGS:
        if data.startswith(beginning):
            return (_LOOKS_LIKE.format(name=name),)
    return _note_on_text(decoded)


def _note_on_text(decoded: Decoded) -> tuple[str, ...]:
    decoding = decoded.decoding
    unchecked = decoding.code is not None and decoding.parity in (Parity.SPACE, Parity.NONE)
    if not unchecked or decoded.leader_frames or decoded.trailer_frames:
        return ()
    return (_NO_CHECK,)
