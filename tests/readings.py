"""Poor readings of one tape, each damaged in its own places, and what merges them in a test."""

from collections.abc import Sequence
from datetime import date
from functools import partial
from typing import Any

from sqlalchemy import Engine

from server.catalog import merge_choice, merging, settling
from server.catalog.merging_values import Chosen, MergedRecord, NewMerge, Settling, WorkedOut
from server.catalog.work import COMMAND, Actor, Work, unit_of_work
from tests import factories

TAPE = "1981.4"
LINES = [f'{10 * n} PRINT "ROW {n * n % 97} OF THE TIDE TABLE"' for n in range(1, 40)]
PUNCHED = factories.text_tape(*LINES)
HEX = factories.hex_tape(data=bytes(n * n % 251 for n in range(200)))

READERS = ("optical reader", "mechanical reader", "hand-pulled reader")


def flipped(data: bytes, *places: int, channel: int = 1) -> bytes:
    for place in places:
        data = factories.damaged(data, place, channel)
    return data


def dropped(data: bytes, place: int) -> bytes:
    return data[:place] + data[place + 1 :]


def doubled(data: bytes, place: int) -> bytes:
    return data[: place + 1] + data[place:]


def three(punched: bytes) -> tuple[bytes, bytes, bytes]:
    """Three readings, each wrong in places of its own, the second from its end."""
    one = dropped(flipped(punched, 100, 300), 410)
    two = doubled(flipped(punched, 140, 350), 450)
    three = flipped(punched, 180, 380)[7:]
    return one, two[::-1], three


def tied(punched: bytes) -> tuple[bytes, bytes]:
    """Two readings that part in two holes of one frame, so that neither parity nor votes decide."""
    return punched, flipped(flipped(punched, 300, channel=1), 300, channel=2)


def read(work: Work, data: bytes, place: int = 0, tape: str | None = TAPE, **others: Any) -> int:
    """Upload a reading, of another day and reader than that of another place."""
    facts = {"read_on": date(2026, 3, 1 + place), "reader": READERS[place % len(READERS)]}
    given = {"file_name": f"pass-{place}.bin", "tape": tape, **facts, **others}
    return factories.upload(work, data, **given).reading_id


def held(engine: Engine, readings: Sequence[bytes], tape: str | None = TAPE) -> tuple[int, ...]:
    """The numbers of the readings, once they are held."""
    with unit_of_work(engine, COMMAND) as work:
        if tape is not None:
            factories.tape(work, accession_number=tape)
        return tuple(read(work, data, place, tape) for place, data in enumerate(readings))


def chosen(engine: Engine, numbers: Sequence[int], actor: Actor = COMMAND) -> Chosen:
    with unit_of_work(engine, actor, writes=False) as work:
        return merge_choice.choose(work, NewMerge(readings=tuple(numbers)), factories.LIMIT)


def worked_out(engine: Engine, numbers: Sequence[int]) -> WorkedOut:
    return merging.work_out(chosen(engine, numbers))


def merge(
    engine: Engine, numbers: Sequence[int], actor: Actor = COMMAND, expected: str | None = None
) -> MergedRecord:
    new = NewMerge(readings=tuple(numbers))
    return merging.carry_out(
        partial(unit_of_work, engine, actor, writes=False),
        partial(unit_of_work, engine, actor),
        lambda work: merge_choice.choose(work, new, factories.LIMIT),
        expected=expected,
    )


def settle(engine: Engine, merged_id: int, actor: Actor = COMMAND, **ruling: Any) -> MergedRecord:
    given = Settling.of({"note": "seen on the strip"} | ruling)
    return merging.carry_out(
        partial(unit_of_work, engine, actor, writes=False),
        partial(unit_of_work, engine, actor),
        lambda work: settling.settling(work, merged_id, given, factories.LIMIT),
    )
