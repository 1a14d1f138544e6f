"""What Alembic runs, from the application and from its own command line alike."""

from alembic import context
from sqlalchemy import Connection

from server.settings import Settings
from server.store.engine import make_engine
from server.store.migration import include_name, migrating
from server.store.tables import METADATA


def run(connection: Connection) -> None:
    """Run the migrations asked for, within the transaction that is open."""
    context.configure(
        connection=connection,
        target_metadata=METADATA,
        include_name=include_name,
        render_as_batch=connection.dialect.name == "sqlite",
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()


if context.is_offline_mode():
    raise SystemExit("Migrations here look at the database: run them without --sql.")

given: Connection | None = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    with migrating(make_engine(Settings())) as opened:
        run(opened)
