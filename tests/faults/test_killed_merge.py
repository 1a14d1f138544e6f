"""kill -9 at any statement while a merge is kept: all of it is there, or nothing."""

from collections.abc import Callable

from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from server.catalog import merged, merging, settling
from server.catalog.merging_values import Ruling, Settling
from server.catalog.work import COMMAND, unit_of_work
from server.settings import Settings
from server.store.engine import reading
from server.store.tables import METADATA
from tests import factories
from tests.faults.dying import deaths
from tests.readings import HEX, PUNCHED, held, merge, three, tied, worked_out

MOST_STATEMENTS = 300


def rows(engine: Engine) -> dict[str, int]:
    """How many rows each table has."""
    with Session(reading(engine)) as session:
        return {
            table.name: session.scalar(select(func.count()).select_from(table)) or 0
            for table in METADATA.sorted_tables
        }


def killed_at_every_statement(
    engine: Engine, settings: Settings, act: Callable[[Engine], object]
) -> dict[str, int]:
    """The rows after `act` came to its end, having been killed at each of its statements."""
    before, fatal = rows(engine), 0
    for fatal in deaths(engine, settings, act, MOST_STATEMENTS):
        assert rows(engine) == before, f"killed at statement {fatal}"
    assert fatal > 20
    after = rows(engine)
    return {name: after[name] - before[name] for name in after if after[name] != before[name]}


def test_a_merge_killed_at_any_statement_leaves_nothing_of_itself(
    engine: Engine, settings: Settings
):
    found = worked_out(engine, held(engine, three(HEX)))

    def keep(own: Engine) -> None:
        with unit_of_work(own, COMMAND) as work:
            merging.keep(work, found)

    added = killed_at_every_statement(engine, settings, keep)

    assert added["merged_reading"] == added["image"] == added["reading"] == 1
    assert (added["merged_source"], added["verification"]) == (3, 2)


def test_settling_killed_at_any_statement_leaves_the_merged_reading_without_a_follower(
    sqlite_engine: Engine, sqlite_settings: Settings
):
    merge(sqlite_engine, held(sqlite_engine, tied(PUNCHED)))
    with unit_of_work(sqlite_engine, writes=False) as work:
        place = merged.disputes(work, 1).rows[0].dispute.column
    ruling = Settling(column=place, ruling=Ruling.FRAME, value=0x55, note="seen")
    with unit_of_work(sqlite_engine, COMMAND, writes=False) as work:
        found = merging.work_out(settling.settling(work, 1, ruling, factories.LIMIT))

    def keep(own: Engine) -> None:
        with unit_of_work(own, COMMAND) as work:
            merging.keep(work, found)

    added = killed_at_every_statement(sqlite_engine, sqlite_settings, keep)

    assert (added["merged_reading"], added["merged_source"]) == (1, 2)
    assert "verification" not in added
