"""Search by hashed grams, in listings, records, frames and memory; tapes know their image.

Why: runs of three characters are in nearly every listing of a large library; longer ones are not.
Bytes become searchable, words of titles mendable, and lists of tapes quick to narrow.
Safe beside the release before: no, it asks the indexes that are taken away here.
Reversible: yes; the former indexes are built anew, and all that is dropped can be made again.
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.orm import Session

from server.store import reindex

revision = "search_at_scale"
down_revision = "parts_and_processor"
branch_labels = None
depends_on = None

TEXTS = {"listing_text": "image_id", "record_text": "id"}
INDEXES = ("listing_search", "record_search", "frames_search", "memory_search")

BYTEWISE = sa.String().with_variant(sa.String(collation="C"), "postgresql")

KEYED = "(6 - rank) * 268435456 + object_id"
"""The key of a record's text: the better the field and the newer the record, the greater."""

IMAGE_COLUMNS = ("format", "language", "check_status", "loader")

NEWEST = """
UPDATE tape SET image_id = (
    SELECT reading.image_id FROM reading WHERE reading.tape_id = tape.id
    ORDER BY reading.id DESC LIMIT 1
) WHERE {tapes};
"""

FACTS = f"""
UPDATE tape SET
    {
    " ".join(
        f"{name} = (SELECT decoding.{name} FROM decoding WHERE decoding.image_id = tape.image_id"
        " AND NOT decoding.superseded),"
        for name in IMAGE_COLUMNS
    )
}
    verified = (
        SELECT coalesce(max(CASE verification.kind WHEN 'self-checked' THEN 1
            WHEN 'readings agree' THEN 2 WHEN 'proof-read' THEN 3 WHEN 'read back' THEN 4
            ELSE 0 END), 0)
        FROM verification WHERE verification.image_id = tape.image_id
    ) WHERE {{tapes}};
"""  # noqa: S608 - names above

TRIGGERS = {
    ("reading", "INSERT"): (NEWEST + FACTS).format(tapes="id = new.tape_id"),
    ("reading", "UPDATE"): (NEWEST + FACTS).format(tapes="id IN (old.tape_id, new.tape_id)"),
    ("decoding", "INSERT"): FACTS.format(tapes="image_id = new.image_id"),
    ("decoding", "UPDATE"): FACTS.format(tapes="image_id = new.image_id"),
    ("verification", "INSERT"): FACTS.format(tapes="image_id = new.image_id"),
    ("verification", "UPDATE"): FACTS.format(tapes="image_id IN (old.image_id, new.image_id)"),
    ("verification", "DELETE"): FACTS.format(tapes="image_id = old.image_id"),
}
"""What keeps the row of a tape current when its readings, their decodings or evidence change."""


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    drop_former_indexes()
    widen_record_texts()
    create_tables()
    create_indexes()
    widen_tapes()
    with Session(op.get_bind()) as session:
        reindex.name_records(session)
        reindex.fill(session)
        session.flush()


def drop_former_indexes() -> None:
    for table in TEXTS:
        if on_sqlite():
            for change in ("insert", "delete", "update"):
                op.execute(f"DROP TRIGGER tr_{table}_{change}")
            op.execute(f"DROP TABLE {table.replace('_text', '_search')}")
        else:
            op.execute(f"DROP INDEX ix_{table.replace('_text', '_search')}_body")


def widen_record_texts() -> None:
    op.drop_index(op.f("ix_record_text_rank_kind_object_id"), "record_text")
    op.add_column("record_text", sa.Column("plain", sa.String(), nullable=True))
    if not on_sqlite():
        op.execute("ALTER TABLE record_text ALTER id DROP DEFAULT")
        op.execute("DROP SEQUENCE record_text_id_seq")
    op.execute("UPDATE record_text SET id = -id")  # out of the way of the new ones
    op.execute(f"UPDATE record_text SET id = {KEYED}")  # noqa: S608 - names above
    op.create_index(op.f("ix_record_text_plain"), "record_text", ["plain"])


def create_tables() -> None:
    op.create_table(
        "spelling",
        sa.Column("word", BYTEWISE, nullable=False),
        sa.Column("runs", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("word", name=op.f("pk_spelling")),
    )
    op.create_table(
        "spelling_run",
        sa.Column("run", BYTEWISE, nullable=False),
        sa.Column("word", BYTEWISE, nullable=False),
        sa.PrimaryKeyConstraint("run", "word", name=op.f("pk_spelling_run")),
    )
    op.create_table(
        "loaded_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("image_id", sa.Integer(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_loaded_run")),
        sa.ForeignKeyConstraint(
            ["image_id"], ["image.id"], name=op.f("fk_loaded_run_image_id_image")
        ),
    )
    op.create_index(op.f("ix_loaded_run_image_id"), "loaded_run", ["image_id"])


def create_indexes() -> None:
    for index in INDEXES:
        if on_sqlite():
            op.execute(
                f"CREATE VIRTUAL TABLE {index} USING fts5(grams, content='', tokenize='ascii',"
                " columnsize=0, detail=none)"
            )
        else:
            op.execute(f"CREATE TABLE {index} (key integer PRIMARY KEY, grams integer[] NOT NULL)")
            op.execute(f"CREATE INDEX ix_{index}_grams ON {index} USING gin (grams)")


def widen_tapes() -> None:
    for name in ("year_from", "year_to", "image_id"):
        op.add_column("tape", sa.Column(name, sa.Integer(), nullable=True))
    for name in IMAGE_COLUMNS:
        op.add_column("tape", sa.Column(name, sa.String(), nullable=True))
    op.add_column("tape", sa.Column("verified", sa.Integer(), nullable=False, server_default="0"))
    op.create_index(op.f("ix_tape_image_id"), "tape", ["image_id"])
    for statement in (NEWEST + FACTS).format(tapes="id > 0").split(";")[:-1]:
        op.execute(statement)
    first, last = "substr(made, 1, 4)", "substr(substr(made, instr(made, '/') + 1), 1, 4)"
    if not on_sqlite():
        last = last.replace("instr", "strpos")
    op.execute(
        f"UPDATE tape SET year_from = CAST(replace({first}, 'X', '0') AS INTEGER),"  # noqa: S608
        f" year_to = CAST(replace({last}, 'X', '9') AS INTEGER) WHERE made IS NOT NULL"
    )
    for (table, change), body in TRIGGERS.items():
        keep_current(table, change, body)


def keep_current(table: str, change: str, body: str) -> None:
    name = f"tr_{table}_to_tape_on_{change.lower()}"
    if on_sqlite():
        op.execute(f"CREATE TRIGGER {name} AFTER {change} ON {table} BEGIN {body} END")
        return
    op.execute(
        f"CREATE FUNCTION feedhole_{name}() RETURNS trigger LANGUAGE plpgsql AS"
        f" $$ BEGIN {body} RETURN NULL; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {name} AFTER {change} ON {table} FOR EACH ROW"
        f" EXECUTE FUNCTION feedhole_{name}()"
    )


def downgrade() -> None:
    for table, change in TRIGGERS:
        name = f"tr_{table}_to_tape_on_{change.lower()}"
        if on_sqlite():
            op.execute(f"DROP TRIGGER {name}")
        else:
            op.execute(f"DROP TRIGGER {name} ON {table}")
            op.execute(f"DROP FUNCTION feedhole_{name}()")
    op.drop_index(op.f("ix_tape_image_id"), "tape")
    for name in ("verified", *IMAGE_COLUMNS, "image_id", "year_to", "year_from"):
        op.drop_column("tape", name)
    for index in INDEXES:
        op.execute(f"DROP TABLE {index}")
    for table in ("loaded_run", "spelling_run", "spelling"):
        op.drop_table(table)
    narrow_record_texts()
    for table, key in TEXTS.items():
        make_former_index(table, key)


def narrow_record_texts() -> None:
    op.drop_index(op.f("ix_record_text_plain"), "record_text")
    op.drop_column("record_text", "plain")
    if not on_sqlite():
        op.execute("CREATE SEQUENCE record_text_id_seq AS integer OWNED BY record_text.id")
        op.execute(
            "SELECT setval('record_text_id_seq', coalesce(max(id), 0) + 1, false) FROM record_text"
        )
        op.execute(
            "ALTER TABLE record_text ALTER id SET DEFAULT nextval('record_text_id_seq'::regclass)"
        )
    op.create_index(
        op.f("ix_record_text_rank_kind_object_id"), "record_text", ["rank", "kind", "object_id"]
    )


def make_former_index(table: str, key: str) -> None:
    """The index of every run of three characters, as the release before expects it."""
    search = table.replace("_text", "_search")
    if not on_sqlite():
        op.execute(f"CREATE INDEX ix_{search}_body ON {table} USING gin (body gin_trgm_ops)")
        return
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
