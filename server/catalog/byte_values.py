"""What a search for bytes asks, and what it finds."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

from pydantic import Field, StringConstraints

from server.catalog.byte_pattern import Base
from server.catalog.inputs import Input, OrNone
from server.tape.machine_notation import Writing


class Where(StrEnum):
    """What is searched for bytes."""

    FRAMES = "frames"
    """Images as they were read, frame by frame."""
    MEMORY = "memory"
    """What they load into the machine's memory, address by address."""


class ByteQuery(Input):
    """Bytes to look for, as `byte_pattern.read` reads them, in frames or in loaded memory."""

    bytes: Annotated[str, StringConstraints(max_length=4000)] = ""
    base: Base = Base.AUTO
    where: Where = Where.FRAMES
    limit: Annotated[int, Field(ge=1, le=100)] = 20
    cursor: Annotated[Annotated[int, Field(gt=0, lt=2**31)] | None, OrNone] = None


@dataclass(frozen=True, slots=True)
class BytePlace:
    """One place: the frame or the address of the first byte, and the bytes there and around.

    In memory all three are whole cells, so that those `found` may hold a byte more than was asked
    for at either end, where a cell has two.

    `line` is the line of the listing that it belongs to, counted from 1, where there is one.
    """

    at: int
    before: bytes
    found: bytes
    after: bytes
    line: int | None


@dataclass(frozen=True, slots=True)
class ByteHit:
    """An image that holds the bytes; of all `count` places, the first few.

    `writing` is how the people of its machine wrote such bytes, and the addresses of the cells.
    """

    sha256: str
    title: str
    accession: str | None
    format: str
    writing: Writing
    count: int
    places: tuple[BytePlace, ...]


@dataclass(frozen=True, slots=True)
class BytePage:
    """Part of what holds the bytes, the newest first.

    `read` images (or runs of memory) were looked through for it. Where it holds fewer hits than
    were asked for, and yet there is a cursor, there is more to look through.
    """

    hits: tuple[ByteHit, ...]
    read: int
    next_cursor: int | None
