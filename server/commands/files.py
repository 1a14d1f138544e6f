"""Image files as commands read them: by name or from standard input, and never without end."""

import sys
from pathlib import Path
from typing import Final

from server.tape.errors import BadImage

STANDARD_INPUT: Final = "-"
STANDARD_OUTPUT: Final = "-"

LARGEST: Final = 50_000_000
"""Frames on 127 km of tape: a hundred of the longest rolls, so no input runs without end."""


def read(name: str) -> bytes:
    """The bytes of a file, or of standard input; no more than any tape can have.

    Raises:
        OSError: the file cannot be read.
        BadImage: it has more bytes than any tape has frames.
    """
    if name == STANDARD_INPUT:
        data = sys.stdin.buffer.read(LARGEST + 1)
    else:
        with Path(name).open("rb") as file:
            data = file.read(LARGEST + 1)
    if len(data) > LARGEST:
        raise BadImage(
            f"it has more than {LARGEST:,} bytes, so it is no tape",
            mend="give the image of one tape, a byte for each frame",
        )
    return data
