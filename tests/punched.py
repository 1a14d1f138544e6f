"""Punchings for tests of every layer: an image that is vouched for, prepared, punched, read."""

from typing import Any

from sqlalchemy import Engine

from server.catalog import preparing, programs, punching, punching_start, read_backs, verification
from server.catalog.program_values import NewVersion
from server.catalog.punching_values import Punched, PunchingRecord, ReadBackFile
from server.catalog.vocabulary import Medium
from server.catalog.work import Actor, Role, unit_of_work
from server.tape.preparing import Preparation
from tests import factories

SOMEBODY = Actor(None, "some volunteer", Role.VOLUNTEER)
ON_PAPER = Punched(medium=Medium.OILED_PAPER, punch="the tall one", rate=70)


def master(engine: Engine, data: bytes = b"", *, vouched: bool = True, **others: Any) -> str:
    """An image, and whether somebody vouches for it."""
    with factories.acting(engine) as work:
        held = factories.upload(work, data or factories.text_tape(), **others).image
        if vouched:
            verification.proof_read(work, held.sha256, "read against the box")
    return held.sha256


def version(engine: Engine, sha256: str, label: str = "2") -> int:
    """A program of which the image is a version; the program's number."""
    with factories.acting(engine) as work:
        made = factories.program(work, machine="8080 machine", memory="8 KB")
        programs.add_version(work, made.id, NewVersion(label=label, sha256=sha256))
    return made.id


def begun(
    engine: Engine, sha256: str, actor: Actor = SOMEBODY, **how: Any
) -> tuple[PunchingRecord, ...]:
    """The punchings of an image, as it is prepared if one asks for nothing but `how`."""
    with unit_of_work(engine, actor) as work:
        preparation = Preparation(**how)
        prepared = preparing.prepare(work, sha256, preparation, acknowledged=True)
        return punching_start.begin(work, sha256, preparation, prepared)


def punched(engine: Engine, sha256: str, **how: Any) -> PunchingRecord:
    """A punching of one reel, punched."""
    (made,) = begun(engine, sha256, **how)
    with unit_of_work(engine, SOMEBODY) as work:
        return punching.punched(work, made.id, ON_PAPER)


def frames(engine: Engine, punching_id: int) -> bytes:
    """The prepared frames."""
    with unit_of_work(engine, SOMEBODY, writes=False) as work:
        return punching.frames(work, punching_id).frames


def compared(
    engine: Engine, punching_id: int, data: bytes, actor: Actor = SOMEBODY, **said: Any
) -> read_backs.Compared:
    """A reading of the new tape, compared and not settled."""
    file = ReadBackFile(**{"file_name": "back.bin", "data": data, "reader": "optical"} | said)
    with unit_of_work(engine, actor, writes=False) as work:
        return read_backs.compare(work, punching_id, file, factories.LIMIT)


def read_back(
    engine: Engine, punching_id: int, data: bytes, actor: Actor = SOMEBODY, **said: Any
) -> PunchingRecord:
    """A reading of the new tape, compared and settled."""
    found = compared(engine, punching_id, data, actor, **said)
    with unit_of_work(engine, actor) as work:
        return read_backs.settle(work, found)
