"""Tapes with letters punched as pictures."""

from server.tape.image import Image
from server.tape.lettering import find_lettering


def taped(letters, data=b"\x31\xb1\xb2" * 30, *, behind=b"", levels=8):
    """A tape of letters, data, and letters behind it, with blank frames between."""
    data = bytes(frame & (1 << levels) - 1 for frame in data)
    return Image(bytes(20) + letters + bytes(20) + data + bytes(20) + behind + bytes(20), levels)


def texts(image):
    return [each.text for each in find_lettering(image)]


def drawn(text, letters, *, between=1, word=5, offset=0, cells=False):
    """The columns of `text` in any alphabet, `between` blank columns apart or in even cells."""
    glyphs = {glyph.character: glyph for glyph in reversed(letters.glyphs)}
    frames = b""
    for character in text:
        if character == " ":
            frames += bytes(letters.width + between if cells else word - between)
            continue
        glyph = glyphs[character]
        columns = bytes(column << offset for column in glyph.columns)
        if cells:
            columns = bytes(glyph.bearing) + columns
            columns = columns.ljust(letters.width, b"\0")
        frames += columns + bytes(between)
    return frames.strip(b"\0")
