"""Tapes, people and records made up for tests, each with one thing that may be chosen."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Engine

from server.catalog import accession, accounts, programs, tapes
from server.catalog.program_values import NewProgram, ProgramRecord
from server.catalog.records import Receipt
from server.catalog.tape_values import NewTape, TapeRecord
from server.catalog.work import COMMAND, Actor, Role, Work, unit_of_work
from server.tape.codes.base import Parity
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.text import Text, TextContent
from server.tape.hexadecimal.program import HexProgram

PASSWORD = "eleven plum velvet anvils"
LIMIT = 10_000_000
LISTING = (
    "10 REM ** TIDE TABLE **",
    "20 FOR H=1 TO 24",
    '30 PRINT "HOUR";H;"LEVEL";4+3*SIN(H/12.4*6.283)',
    "40 NEXT H",
    "50 END",
)


def text_tape(*lines: str, parity: Parity = Parity.EVEN, leader: int = 60) -> bytes:
    content = TextContent(lines or LISTING, parity=parity, leader=leader, trailer=leader)
    return Text().build(content).frames


def hex_tape(start: int = 0x100, data: bytes = bytes(range(64))) -> bytes:
    return IntelHex().build(HexProgram({start: data}, entry_address=start)).frames


def damaged(frames: bytes, frame: int, channel: int = 1) -> bytes:
    """The frames with one hole too many or too few."""
    changed = bytearray(frames)
    changed[frame] ^= 1 << (channel - 1)
    return bytes(changed)


def person(engine: Engine, role: Role, name: str = "") -> Actor:
    with unit_of_work(engine, COMMAND) as work:
        made = accounts.create_person(work, name or f"a {role}", PASSWORD, role)
    return Actor(made.id, made.display_name, made.role)


@contextmanager
def acting(engine: Engine, role: Role = Role.ARCHIVIST) -> Iterator[Work]:
    """A unit of work of somebody with that role but without an account."""
    with unit_of_work(engine, Actor(None, f"some {role}", role)) as work:
        yield work


def upload(work: Work, data: bytes, **others: Any) -> Receipt:
    given = accession.Upload(**{"file_name": "reading.bin", "data": data} | others)
    return accession.accept(work, accession.examine(given, LIMIT))


def tape(work: Work, **others: Any) -> TapeRecord:
    return tapes.create(work, NewTape.model_validate({"title": "Tide table"} | others))


def program(work: Work, **others: Any) -> ProgramRecord:
    return programs.create(work, NewProgram.model_validate({"title": "Tide table"} | others))
