from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, inspect, select
from sqlalchemy.orm import Session

from server.checkout import MIGRATIONS
from server.settings import Settings
from server.store.engine import make_engine
from server.store.migration import (
    configuration,
    current,
    downgrade,
    head,
    include_name,
    migrate,
)
from server.store.tables import METADATA
from tests.store.rows import add_one_of_each

SCRIPTS = ScriptDirectory.from_config(configuration())
REVISIONS = [script.revision for script in SCRIPTS.walk_revisions()]
"""From the newest to the oldest."""


def fill(engine: Engine) -> None:
    with Session(engine) as session, session.begin():
        add_one_of_each(session)


def rows(engine: Engine) -> dict[str, list[tuple[object, ...]]]:
    with Session(engine) as session:
        return {
            table.name: sorted((tuple(row) for row in session.execute(select(table))), key=repr)
            for table in METADATA.sorted_tables
        }


def names(engine: Engine) -> set[str | None]:
    """The names of all constraints and indexes but the full-text ones."""
    found: set[str | None] = set()
    look = inspect(engine)
    for table in METADATA.tables:
        found.add(look.get_pk_constraint(table)["name"])
        for several in (
            look.get_foreign_keys(table),
            look.get_unique_constraints(table),
            look.get_check_constraints(table),
            look.get_indexes(table),
        ):
            found.update(each["name"] for each in several)
    return {name for name in found if include_name(name, "index", {})}


def test_there_is_exactly_one_head():
    assert len(SCRIPTS.get_heads()) == 1


def test_each_migration_is_named_after_its_day_and_says_why():
    for script in SCRIPTS.walk_revisions():
        assert script.module.__doc__ is not None
        assert all(word in script.module.__doc__ for word in ("Why:", "Safe beside", "Reversible:"))
        assert Path(script.path).name[:8].isdigit()
    assert list(MIGRATIONS.glob("versions/*.py"))


def test_sample_rows_fill_every_table(engine: Engine):
    fill(engine)

    assert not [table for table, held in rows(engine).items() if not held]


def test_models_match_the_migrated_schema(engine: Engine):
    with engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"include_name": include_name, "compare_server_default": True}
        )

        assert compare_metadata(context, METADATA) == []


def test_constraint_names_are_equal_on_both_databases(
    sqlite_settings: Settings, postgres_settings: Settings
):
    found = []
    for settings in (sqlite_settings, postgres_settings):
        engine = make_engine(settings)
        found.append(names(engine))
        engine.dispose()

    assert found[0] == found[1]
    assert None not in found[0]


@pytest.mark.parametrize("revision", [*REVISIONS[1:], "base"])
def test_each_step_goes_down_and_up_again_with_rows_present(engine: Engine, revision: str):
    fill(engine)

    downgrade(engine, revision)
    assert current(engine) == (None if revision == "base" else revision)
    migrate(engine)

    assert current(engine) == head()
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"include_name": include_name})
        assert compare_metadata(context, METADATA) == []


def test_rows_survive_a_round_trip_through_the_indexes(engine: Engine):
    fill(engine)
    before = rows(engine)

    downgrade(engine, "first_library")
    kept = before.keys() & set(inspect(engine).get_table_names())
    migrate(engine)

    after = rows(engine)
    assert {name: after[name] for name in kept} == {name: before[name] for name in kept}
    assert kept > {"image", "kinship", "tape"}


def test_base_leaves_nothing_behind(engine: Engine):
    fill(engine)

    downgrade(engine)

    assert inspect(engine).get_table_names() == ["alembic_version"]


def test_database_filled_after_a_round_trip_is_whole(engine: Engine):
    downgrade(engine)
    migrate(engine)

    fill(engine)

    assert not [table for table, held in rows(engine).items() if not held]


def test_several_workers_may_migrate_one_database_at_once(settings: Settings):
    engines = [make_engine(settings) for _ in range(4)]
    downgrade(engines[0])

    with ThreadPoolExecutor(len(engines)) as pool:
        list(pool.map(migrate, engines))

    assert [current(engine) for engine in engines] == [head()] * len(engines)
    for engine in engines:
        engine.dispose()
