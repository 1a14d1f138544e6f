"""What is uploaded, and what can be said of it before any record is touched: pure, and slow."""

from dataclasses import dataclass, field
from datetime import date
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, StringConstraints

from server.catalog import foreign_files
from server.catalog.decodings import content_sha256
from server.catalog.errors import Invalid, TooLarge, as_sentence, refused
from server.catalog.inputs import Input, Name, OrNone, Sha256
from server.catalog.kinship import Met
from server.catalog.tape_values import AccessionNumber, Levels
from server.tape.errors import BadImage
from server.tape.formats import FORMATS, Formats
from server.tape.identify import Decoded, decode
from server.tape.image import FRAME_PITCH_MM
from server.tape.kinship import NormalForm, fingerprints, normal_form

_LONGEST_NAME = 1000
_KEPT_NAME = 200


def _as_named(name: object) -> object:
    """A file name as it came, what is not text in it escaped; no name is ever refused."""
    if not isinstance(name, str):
        return name
    return name.encode("utf-8", "backslashreplace").decode()[:_LONGEST_NAME]


FileName = Annotated[str, BeforeValidator(_as_named), StringConstraints(strip_whitespace=False)]


class Upload(Input):
    """A file to be taken in: the tape (by accession number) it was read from, when, on what.

    `levels` and `sha256` are what the sender says of it; without `levels` the holes decide.
    """

    file_name: FileName
    data: bytes
    tape: Annotated[AccessionNumber | None, OrNone] = None
    levels: Annotated[Levels | None, OrNone] = None
    read_on: Annotated[date | None, OrNone] = None
    reader: Name = ""
    sha256: Annotated[Sha256 | None, OrNone] = None


@dataclass(frozen=True, slots=True)
class Examined:
    """An upload, decoded; `notes` are plain warnings about the file.

    `met` holds those images that it was compared with already.
    """

    upload: Upload
    decoded: Decoded
    form: NormalForm
    fingerprints: NDArray[np.int64]
    content_sha256: str
    notes: tuple[str, ...]
    met: Met = field(default_factory=dict)

    @property
    def file_name(self) -> str:
        """The name to keep."""
        return plain_name(self.upload.file_name)


def plain_name(file_name: str) -> str:
    """A file name as it is kept: without folders, without control characters, never empty."""
    last = file_name.replace("\\", "/").rstrip("/").rpartition("/")[2]
    plain = "".join(each if each.isprintable() else "_" for each in last).strip()
    return plain[:_KEPT_NAME] or "unnamed"


def examine(upload: Upload, limit: int, formats: Formats = FORMATS) -> Examined:
    """The upload, decoded as one of `formats`: all of the work that needs no database.

    Raises:
        TooLarge: it has more than `limit` bytes.
        Invalid: it is empty, has another digest than was said, or cannot be a tape of the
            levels that were given.
    """
    _require_size(upload, limit)
    decoded = _decoded(upload, formats)
    if upload.sha256 is not None and upload.sha256 != decoded.image.sha256:
        raise refused(
            "sha256",
            f"The SHA-256 of the file as it came is {decoded.image.sha256}, not as announced.",
            "Send the file again: it was changed on the way.",
        )
    form = normal_form(decoded.decoding)
    return Examined(
        upload=upload,
        decoded=decoded,
        form=form,
        fingerprints=fingerprints(form),
        content_sha256=content_sha256(decoded),
        notes=foreign_files.notes_on(decoded),
    )


def _require_size(upload: Upload, limit: int) -> None:
    size = len(upload.data)
    if not size:
        raise refused(
            "file", "The file is empty.", "Read the tape again, and look at the file's size."
        )
    if size > limit:
        raise TooLarge(
            f"The file is over the limit of {limit:,} bytes.",
            limit=limit,
            where="file",
            mend="An image has one byte a frame: a roll of 1,000 feet gives 120,000.",
        )


def _decoded(upload: Upload, formats: Formats) -> Decoded:
    try:
        return decode(upload.data, upload.levels, formats)
    except BadImage as error:
        raise _misfit(error) from None


def _misfit(error: BadImage) -> Invalid:
    # No frames at all, and levels that no tape has, were refused before.
    assert error.frame is not None
    place = f"frame {error.frame:,}, {error.frame * FRAME_PITCH_MM:,.2f} mm from the start"
    what = as_sentence(f"{error.what}: see {place}")
    return Invalid(what, where=place, mend=as_sentence(error.mend), fields={"levels": what})
