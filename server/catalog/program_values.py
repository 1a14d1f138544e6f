"""What is given and said about a program and its versions."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Annotated

from pydantic import Field

from server.catalog.inputs import Input, Name, RequiredName, RequiredText, Sha256, Text
from server.catalog.records import TapeLink, VerifiedBy
from server.catalog.rights_values import Licence, RightsUri
from server.catalog.tape_values import PageQuery, RecordNumber, Words
from server.catalog.vocabulary import Access
from server.tape.findings import CheckStatus


class Certainty(StrEnum):
    """How sure somebody is of what a note says."""

    CERTAIN = "certain"
    """Written down at the time, or told by who was there."""
    PROBABLE = "probable"
    """Several things speak for it, and nothing against it."""
    GUESS = "guess"
    """It may as well be otherwise."""


class AttributedTo(StrEnum):
    """What a note is about."""

    AUTHOR = "author"
    ORIGIN = "origin"


class Attribution(Input):
    """A free note on who wrote a program or where it comes from, and how sure that is."""

    about: AttributedTo
    note: Annotated[RequiredText, Field(max_length=1000)]
    certainty: Certainty


Titles = Annotated[tuple[RequiredName, ...], Field(max_length=30)]
Peripherals = Annotated[tuple[RequiredName, ...], Field(max_length=30)]
Attributions = Annotated[tuple[Attribution, ...], Field(max_length=50)]


class DescribedProgram(Input):
    """What is said of a program, whether it is new or changed.

    `language`, `machine` and `peripherals` are words of the vocabularies; `memory` says how much
    the program needs, as its people counted it; `instructions` how it is used, `faults` what is
    known to be wrong with it, `rights` in words who may do what with it.
    """

    variant_titles: Titles = ()
    language: Name = ""
    machine: Name = ""
    memory: Name = ""
    peripherals: Peripherals = ()
    description: Text = ""
    instructions: Text = ""
    faults: Text = ""
    attributions: Attributions = ()
    rights: Text = ""
    rights_uri: RightsUri = ""
    licence: Licence = ""
    access: Access = Access.PUBLIC


class NewProgram(DescribedProgram):
    """A program to be entered."""

    title: RequiredName


class ProgramChange(DescribedProgram):
    """What to change of a program: only what is given."""

    title: RequiredName | None = None


class NewVersion(Input):
    """One exact content of a program; `sha256` names the image that is punched from."""

    label: RequiredName
    sha256: Sha256
    note: Text = ""
    instructions: Text = ""
    faults: Text = ""


class VersionChange(Input):
    """What to change of a version: only what is given; its image is its own for ever."""

    label: RequiredName | None = None
    note: Text = ""
    instructions: Text = ""
    faults: Text = ""


class LinkKind(StrEnum):
    """How a program stands to another one."""

    USES = "uses"
    """It calls the other, or reads what the other makes."""
    CONTINUES = "continues"
    """It took the place of the other, by the same people or others."""
    ADAPTATION = "adaptation of"
    """It is the other, made fit for another machine."""
    TRANSLATION = "translation of"
    """It is the other, written anew in another language."""

    @property
    def backwards(self) -> str:
        """The same, said from the other program."""
        return _BACKWARDS[self]


_BACKWARDS = {
    LinkKind.USES: "used by",
    LinkKind.CONTINUES: "continued by",
    LinkKind.ADAPTATION: "adapted as",
    LinkKind.TRANSLATION: "translated as",
}


class NewLink(Input):
    """A program's standing to another one."""

    kind: LinkKind
    other: RecordNumber
    note: Text = ""


class ProgramQuery(PageQuery):
    """Which programs: any in whose title, notes or versions `q` stands, and of those words."""

    q: Name = ""
    language: Words = ()
    machine: Words = ()
    peripheral: Words = ()


@dataclass(frozen=True, slots=True)
class VersionRecord:
    """A version, and what is known about its master image."""

    id: int
    label: str
    sha256: str
    note: str
    added: datetime
    format: str
    check_status: CheckStatus
    verification: VerifiedBy
    instructions: str
    faults: str
    revision: int


@dataclass(frozen=True, slots=True)
class LinkRecord:
    """A link as one of the two programs sees it: `words` lead from it to the other one.

    `kind` is that of the link, and `made_here` whether it begins at this program.
    """

    id: int
    kind: LinkKind
    words: str
    made_here: bool
    program: int
    title: str
    note: str


@dataclass(frozen=True, slots=True)
class ProgramRow:
    """A program in a list."""

    id: int
    title: str
    language: str
    machine: str
    versions: int
    tapes: int


@dataclass(frozen=True, slots=True)
class ProgramRecord:
    """A program, its links, its versions (newest first), and the tapes that carry it."""

    id: int
    title: str
    variant_titles: tuple[str, ...]
    language: str
    machine: str
    memory: str
    peripherals: tuple[str, ...]
    description: str
    instructions: str
    faults: str
    attributions: tuple[Attribution, ...]
    rights: str
    revision: int
    created: datetime
    changed: datetime
    links: tuple[LinkRecord, ...] = ()
    versions: tuple[VersionRecord, ...] = ()
    tapes: tuple[TapeLink, ...] = ()
    rights_uri: str = ""
    licence: str = ""
    access: Access = Access.PUBLIC
