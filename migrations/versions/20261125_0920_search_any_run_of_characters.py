"""Full-text indexes over listings and records, of every run of three characters.

Why: people look for any piece of a line, not only for whole words.
Safe beside the release before: yes, triggers and the server keep the indexes current.
Reversible: yes; the texts stay, and the indexes are built anew from them.
"""

from alembic import op

revision = "search_any_run"
down_revision = "write_once"
branch_labels = None
depends_on = None

TEXTS = {"listing_text": "image_id", "record_text": "id"}
"""The searched tables, each with its key."""


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def search_name(table: str) -> str:
    return table.replace("_text", "_search")


def upgrade() -> None:
    if not on_sqlite():
        op.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
    for table, key in TEXTS.items():
        if on_sqlite():
            index_on_sqlite(table, key, search_name(table))
        else:
            index_on_postgresql(table, f"ix_{search_name(table)}_body")


def index_on_sqlite(table: str, key: str, search: str) -> None:
    """Make an index that does not keep the texts themselves, and keep it current.

    Texts are folded before they come here, so the tokenizer must not fold them again.
    """
    op.execute(
        f"CREATE VIRTUAL TABLE {search} USING fts5(body, content='{table}', content_rowid='{key}',"
        " tokenize='trigram case_sensitive 1', columnsize=0)"
    )
    op.execute(f"INSERT INTO {search}({search}) VALUES ('rebuild')")  # noqa: S608 - names above
    into = f"INSERT INTO {search}"
    add = f"{into}(rowid, body) VALUES (new.{key}, new.body);"
    remove = f"{into}({search}, rowid, body) VALUES ('delete', old.{key}, old.body);"
    for change, steps in (("insert", add), ("delete", remove), ("update", remove + add)):
        op.execute(
            f"CREATE TRIGGER tr_{table}_{change} AFTER {change} ON {table} BEGIN {steps} END"
        )


def index_on_postgresql(table: str, index: str) -> None:
    """Make the index, and keep the texts as they are, most of them beside their keys.

    Each candidate is read again, and compressed texts in a place of their own cost five times
    as much to read, which the planner does not see: it would read them all.
    """
    op.execute(f"ALTER TABLE {table} ALTER body SET STORAGE EXTERNAL")
    op.execute(f"ALTER TABLE {table} SET (toast_tuple_target = 8160)")
    op.execute(f"CREATE INDEX {index} ON {table} USING gin (body gin_trgm_ops)")


def downgrade() -> None:
    for table in TEXTS:
        if on_sqlite():
            for change in ("insert", "delete", "update"):
                op.execute(f"DROP TRIGGER tr_{table}_{change}")
            op.execute(f"DROP TABLE {search_name(table)}")
        else:
            # pg_trgm stays: it may have been there before, and others may use it.
            op.execute(f"DROP INDEX ix_{search_name(table)}_body")
            op.execute(f"ALTER TABLE {table} RESET (toast_tuple_target)")
            op.execute(f"ALTER TABLE {table} ALTER body SET STORAGE EXTENDED")
