"""Images, events and readings refuse to be changed or deleted, whoever asks.

Why: an archive is only as good as its oldest bytes; no fault in a program may reach them.
Safe beside the release before: yes, it never changed them either.
Reversible: yes, and nothing is lost.
"""

from alembic import op

revision = "write_once"
down_revision = "first_library"
branch_labels = None
depends_on = None

KEPT = ("image", "event", "reading")

CHANGES = {
    "image": "UPDATE",
    "event": "UPDATE",
    # Which tape a reading was of can be put right, and so can its note.
    "reading": "UPDATE OF id, image_id, file_name, read_on, reader, accepted_at, accepted_by_id",
}


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    if not on_sqlite():
        op.execute(
            "CREATE FUNCTION feedhole_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
            " RAISE EXCEPTION 'a row of % refuses this %', TG_TABLE_NAME, lower(TG_OP)"
            " USING ERRCODE = 'integrity_constraint_violation'; END $$"
        )
    for table in KEPT:
        refuse(table, "update", CHANGES[table])
        refuse(table, "delete", "DELETE")
        if not on_sqlite():
            refuse(table, "truncate", "TRUNCATE", each="STATEMENT")


def refuse(table: str, change: str, occasion: str, each: str = "ROW") -> None:
    if on_sqlite():
        body = f"BEGIN SELECT RAISE(ABORT, 'a row of {table} refuses this {change}'); END"
    else:
        body = "EXECUTE FUNCTION feedhole_refuse()"
    op.execute(
        f"CREATE TRIGGER tr_{table}_no_{change} BEFORE {occasion} ON {table} FOR EACH {each} {body}"
    )


def downgrade() -> None:
    for table in KEPT:
        for change in ("update", "delete") if on_sqlite() else ("update", "delete", "truncate"):
            op.execute(
                f"DROP TRIGGER tr_{table}_no_{change}" + ("" if on_sqlite() else f" ON {table}")
            )
    if not on_sqlite():
        op.execute("DROP FUNCTION feedhole_refuse()")
