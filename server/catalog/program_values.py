"""What is given and said about a program and its versions."""

from dataclasses import dataclass
from datetime import datetime

from server.catalog.inputs import Input, Name, RequiredName, Sha256, Text
from server.catalog.records import TapeLink, VerifiedBy
from server.catalog.rights_values import Licence, RightsUri
from server.catalog.tape_values import PageQuery
from server.catalog.vocabulary import Access
from server.tape.findings import CheckStatus


class NewProgram(Input):
    """A program to be entered; `rights` says in words who may do what with it."""

    title: RequiredName
    language: Name = ""
    machine: Name = ""
    description: Text = ""
    rights: Text = ""
    rights_uri: RightsUri = ""
    licence: Licence = ""
    access: Access = Access.PUBLIC


class ProgramChange(Input):
    """What to change of a program: only what is given."""

    title: RequiredName | None = None
    language: Name = ""
    machine: Name = ""
    description: Text = ""
    rights: Text = ""
    rights_uri: RightsUri = ""
    licence: Licence = ""
    access: Access = Access.PUBLIC


class NewVersion(Input):
    """One exact content of a program; `sha256` names the image that is punched from."""

    label: RequiredName
    sha256: Sha256
    note: Text = ""


class ProgramQuery(PageQuery):
    """Which programs: any whose title, language, machine or description holds `q`."""

    q: Name = ""


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
    """A program, its versions (newest first), and the tapes that carry it."""

    id: int
    title: str
    language: str
    machine: str
    description: str
    rights: str
    revision: int
    created: datetime
    changed: datetime
    versions: tuple[VersionRecord, ...] = ()
    tapes: tuple[TapeLink, ...] = ()
    rights_uri: str = ""
    licence: str = ""
    access: Access = Access.PUBLIC
