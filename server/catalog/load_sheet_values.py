"""What is given and said of a load sheet: the one page that a demonstrator takes to the machine."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Annotated, Final

from pydantic import BeforeValidator, StringConstraints

from server.catalog.inputs import TEXT_LENGTH, Input, Name, OrNone
from server.catalog.key_in import Cell
from server.catalog.records import ImageRecord
from server.catalog.text_changes import TextChange
from server.catalog.vocabulary import Condition, Hazard
from server.tape.cpu.notation import Notation
from server.tape.machine_notation import Writing

TEXTS: Final = ("needs", "steps", "bootstrap", "reader", "worked", "cautions")
"""The texts of a sheet that a person may write; what they leave out is made of the decoding."""

NOTATION: Final = "notation"

FIELDS: Final = (*TEXTS, NOTATION)

_NUMBERED = re.compile(r"\d{1,2}[.)]\s+")


def _tidy(value: object) -> object:
    """Lines as they are kept: ended alike, without blanks at their ends."""
    if not isinstance(value, str):
        return value
    return "\n".join(line.rstrip() for line in re.split(r"\r\n?|\n", value)).strip("\n")


Lines = Annotated[
    str,
    BeforeValidator(_tidy),
    StringConstraints(max_length=TEXT_LENGTH, pattern=r"^[^\x00-\x08\x0b-\x1f\x7f]*$"),
]
"""Plain text of at most 4,000 characters, in lines; no markup has a meaning in it."""


class NewTexts(Input):
    """A sheet as somebody writes it; what is left empty is made of the decoding.

    `steps` are numbered, one a line; `bootstrap` has lines as `server.catalog.key_in` reads them;
    `notation` is how addresses are written, if not as is usual for the machine; `note` says why
    the sheet was changed.
    """

    needs: Lines = ""
    steps: Lines = ""
    bootstrap: Lines = ""
    reader: Lines = ""
    worked: Lines = ""
    cautions: Lines = ""
    notation: Annotated[Notation | None, OrNone] = None
    note: Name = ""

    @property
    def texts(self) -> dict[str, str]:
        """What was written, by field; nothing under the name of an empty one."""
        written = self.model_dump(mode="json", include=set(FIELDS))
        return {name: text for name, text in written.items() if text}


@dataclass(frozen=True, slots=True)
class SheetOf:
    """What a sheet is of: a version of a program, or an image."""

    sha256: str = ""
    program: int = 0
    version: int = 0

    @property
    def path(self) -> str:
        """The address of the sheet on this site, and behind `/api/v1`."""
        if self.sha256:
            return f"/images/{self.sha256}/sheet"
        return f"/programs/{self.program}/versions/{self.version}/sheet"


@dataclass(frozen=True, slots=True)
class Copy:
    """A tape that carries the very content; the newest report on it, where there is one.

    `begins` is the frame at which the content begins on a tape that was punched here, `letters`
    what is lettered before it; `begins` is None for any other tape.
    """

    accession_number: str
    place: str
    medium: str
    condition: Condition
    hazard: Hazard
    reported: date | None
    advice: str
    begins: int | None = None
    letters: str = ""
    do_not_run: bool = False

    @property
    def quarantined(self) -> bool:
        """Whether the tape is held apart and must not be run."""
        return self.hazard.quarantines


@dataclass(frozen=True, slots=True)
class SheetRecord:
    """A load sheet as it stands.

    `texts` holds every text of the sheet, `written` the names of those that people wrote; the
    others are made of the decoding. `cells` are what the text of the bootstrap comes to, None
    where it is in another notation than the sheet by now. Revision 1 is all made of the decoding.
    """

    of: SheetOf
    title: str
    label: str | None
    machine: str
    image: ImageRecord
    writing: Writing
    copies: tuple[Copy, ...]
    more_copies: int
    keyed_in: bool
    cells: tuple[Cell, ...] | None
    texts: Mapping[str, str]
    written: frozenset[str]
    notation: Notation | None
    revision: int
    changed: datetime | None = None
    by: str = ""

    @property
    def heading(self) -> str:
        """The program and its version."""
        return self.title if self.label is None else f"{self.title}, version {self.label}"

    def lines(self, name: str) -> tuple[str, ...]:
        """The lines of a text that are not blank, without numbers that were typed before them."""
        return tuple(
            _NUMBERED.sub("", line.strip(), count=1)
            for line in self.texts[name].splitlines()
            if line.strip()
        )


@dataclass(frozen=True, slots=True)
class SheetRevision:
    """A sheet as it was from one revision on, and what that changed of the one before."""

    revision: int
    by: str
    made: datetime | None
    note: str
    texts: Mapping[str, str] = field(default_factory=dict)
    changes: tuple[TextChange, ...] = ()
