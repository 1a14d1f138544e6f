"""Tapes are described as objects; rights, who sees what, and what left the collection are kept.

Why: a tape on the shelf has a colour, a length and a donor; what may be shown of it depends on
agreements; and a number once given names that tape for ever, also after it got another or left.
Which images are closed follows from their tapes and programs: triggers keep a short list of them,
so that a library where everything is open pays nothing for asking.
Safe beside the release before: yes, new columns have defaults and triggers fill the rest; but that
release shows what is closed, so that nothing should be closed while it runs.
Reversible: yes; the descriptions, rights and deaccessions are lost, the events on them stay.
"""

import re

import sqlalchemy as sa
from alembic import op

revision = "rights_and_access"
down_revision = "last_reports"
branch_labels = None
depends_on = None

TEXTS = {
    "tape": (
        "colour",
        "form",
        "core",
        "inscriptions",
        "acquired_from",
        "acquired_how",
        "acquisition_note",
        "rights_uri",
        "licence",
        "rights_note",
    ),
    "program": ("rights_uri", "licence"),
}
"""What is empty where nobody has said anything."""

NUMBERS = ("measured_width_mm", "measured_length_m")

RANK = "CASE {access} WHEN 'public' THEN 0 WHEN 'members' THEN 1 ELSE 2 END"

FOLLOW = """
DELETE FROM closed_image WHERE image_id IN ({images});
INSERT INTO closed_image (image_id, access)
SELECT image_id, CASE min(shut) WHEN 1 THEN 'members' ELSE 'restricted' END
FROM (
  SELECT reading.image_id AS image_id, {tape} AS shut FROM reading
  JOIN tape ON tape.id = reading.tape_id WHERE reading.image_id IN ({images})
  UNION ALL
  SELECT version.image_id, {program} FROM version
  JOIN program ON program.id = version.program_id WHERE version.image_id IN ({images})
) AS source
GROUP BY image_id HAVING min(shut) > 0
ON CONFLICT (image_id) DO UPDATE SET access = excluded.access;
"""
"""An image is as open as the most open of what it was read from or is the master of."""

OF_TAPE = "SELECT image_id FROM reading WHERE tape_id = new.id"
OF_PROGRAM = "SELECT image_id FROM version WHERE program_id = new.id"

FOLLOWING = {
    ("tape", "UPDATE OF access"): OF_TAPE,
    ("program", "UPDATE OF access"): OF_PROGRAM,
    ("reading", "INSERT"): "new.image_id",
    ("reading", "UPDATE OF tape_id"): "new.image_id",
    ("version", "INSERT"): "new.image_id",
    ("version", "UPDATE OF program_id, image_id"): "old.image_id, new.image_id",
    ("version", "DELETE"): "old.image_id",
}

HELD = {
    # Whoever closes the tape or program at this moment is waited for, or waits.
    "reading": "PERFORM 1 FROM tape WHERE id = new.tape_id FOR NO KEY UPDATE;",
    "version": "PERFORM 1 FROM program WHERE id = new.program_id FOR NO KEY UPDATE;",
}

GIVEN_BEFORE = "this accession_number was given to another tape before"

REGISTER = """
INSERT INTO number_given (number, key, tape_id)
VALUES (new.accession_number, new.accession_key, new.id) ON CONFLICT (number) DO NOTHING;
"""

TAKEN = """
EXISTS (SELECT 1 FROM number_given WHERE number = new.accession_number AND tape_id <> new.id)
"""


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    describe()
    close()
    register()
    op.create_table(
        "deaccession",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tape_id", sa.Integer(), nullable=False),
        sa.Column("decided_on", sa.Date(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("authority", sa.String(), nullable=False),
        sa.Column("method", sa.String(), nullable=False),
        sa.Column("recipient", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_by_id", sa.Integer(), nullable=True),
        sa.Column("ended_why", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_deaccession")),
        sa.ForeignKeyConstraint(["tape_id"], ["tape.id"], name=op.f("fk_deaccession_tape_id_tape")),
        *(
            sa.ForeignKeyConstraint(
                [f"{what}_by_id"], ["person.id"], name=op.f(f"fk_deaccession_{what}_by_id_person")
            )
            for what in ("made", "ended")
        ),
    )
    for column in ("tape_id", "made_by_id", "ended_by_id"):
        op.create_index(op.f(f"ix_deaccession_{column}"), "deaccession", [column])


def describe() -> None:
    for table, names in TEXTS.items():
        for name in names:
            op.add_column(
                table, sa.Column(name, sa.String(), nullable=False, server_default=sa.text("''"))
            )
    for name in NUMBERS:
        op.add_column("tape", sa.Column(name, sa.Float(), nullable=True))
    op.add_column("tape", sa.Column("acquired_on", sa.String(), nullable=True))
    op.add_column("tape", sa.Column("deaccessioned_on", sa.Date(), nullable=True))
    gone = sa.text("deaccessioned_on IS NOT NULL")
    op.create_index(
        "ix_tape_gone",
        "tape",
        ["deaccessioned_on"],
        sqlite_where=gone,
        postgresql_where=gone,
    )


def close() -> None:
    op.create_table(
        "closed_image",
        sa.Column("image_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("access", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("image_id", name=op.f("pk_closed_image")),
        sa.ForeignKeyConstraint(
            ["image_id"], ["image.id"], name=op.f("fk_closed_image_image_id_image")
        ),
    )
    shut = sa.text("access <> 'public'")
    for table in TEXTS:
        op.add_column(
            table, sa.Column("access", sa.String(), nullable=False, server_default="public")
        )
        op.create_index(
            f"ix_{table}_closed", table, ["access"], sqlite_where=shut, postgresql_where=shut
        )
    ranks = {table: RANK.format(access=f"{table}.access") for table in TEXTS}
    for (table, change), images in FOLLOWING.items():
        trigger(table, change, FOLLOW.format(images=images, **ranks), HELD.get(table, ""))


def register() -> None:
    op.create_table(
        "number_given",
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("key", sa.String().with_variant(sa.String(collation="C"), "postgresql")),
        sa.Column("tape_id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_number_given")),
        sa.ForeignKeyConstraint(
            ["tape_id"], ["tape.id"], name=op.f("fk_number_given_tape_id_tape")
        ),
    )
    op.create_index(op.f("ix_number_given_key"), "number_given", ["key"])
    op.create_index(op.f("ix_number_given_tape_id"), "number_given", ["tape_id"])
    op.execute(
        "INSERT INTO number_given (number, key, tape_id)"
        " SELECT accession_number, accession_key, id FROM tape"
    )
    register_former()
    if on_sqlite():
        refused = f"SELECT RAISE(ABORT, '{GIVEN_BEFORE}') WHERE {TAKEN};"
    else:
        refused = (
            f"IF {TAKEN} THEN RAISE EXCEPTION '{GIVEN_BEFORE}'"
            " USING ERRCODE = 'unique_violation'; END IF;"
        )
    for change in ("INSERT", "UPDATE OF accession_number"):
        trigger("tape", change, refused + REGISTER, what="numbered")


def register_former() -> None:
    """Numbers that tapes had before they were given others, as far as the log tells."""
    bind = op.get_bind()
    events = bind.execute(
        sa.text(
            "SELECT tape.id, event.detail FROM event JOIN tape ON tape.accession_number ="
            " event.object_key WHERE event.object_kind = 'tape' AND event.detail LIKE 'was %'"
        )
    ).all()
    for tape_id, detail in events:
        before = re.fullmatch(r"was (\S+) before", detail)
        if before is not None:
            key = re.sub(r"[0-9]+", lambda digits: digits[0].zfill(12), before[1].lower())
            bind.execute(
                sa.text(
                    "INSERT INTO number_given (number, key, tape_id) VALUES (:number, :key, :tape)"
                    " ON CONFLICT (number) DO NOTHING"
                ),
                {"number": before[1], "key": key, "tape": tape_id},
            )


def name_of(table: str, change: str, what: str) -> str:
    return f"tr_{table}_{what}_on_{change.split(maxsplit=1)[0].lower()}"


def trigger(table: str, change: str, body: str, held: str = "", what: str = "closes") -> None:
    name = name_of(table, change, what)
    if on_sqlite():
        op.execute(f"CREATE TRIGGER {name} AFTER {change} ON {table} BEGIN {body} END")
        return
    begin = "" if change == "DELETE" else held
    op.execute(
        f"CREATE FUNCTION feedhole_{name}() RETURNS trigger LANGUAGE plpgsql AS"
        f" $$ BEGIN {begin} {body} RETURN NULL; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {name} AFTER {change} ON {table} FOR EACH ROW"
        f" EXECUTE FUNCTION feedhole_{name}()"
    )


def untrigger(table: str, change: str, what: str) -> None:
    name = name_of(table, change, what)
    if on_sqlite():
        op.execute(f"DROP TRIGGER {name}")
    else:
        op.execute(f"DROP TRIGGER {name} ON {table}")
        op.execute(f"DROP FUNCTION feedhole_{name}()")


def downgrade() -> None:
    op.drop_table("deaccession")
    for change in ("INSERT", "UPDATE"):
        untrigger("tape", change, "numbered")
    op.drop_table("number_given")
    for table, change in FOLLOWING:
        untrigger(table, change, "closes")
    op.drop_table("closed_image")
    op.drop_index("ix_tape_gone", "tape")
    for table, names in TEXTS.items():
        op.drop_index(f"ix_{table}_closed", table)
        for name in ("access", *names):
            op.drop_column(table, name)
    for name in (*NUMBERS, "acquired_on", "deaccessioned_on"):
        op.drop_column("tape", name)
