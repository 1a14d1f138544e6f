"""Reports say how to handle a tape and what to do next; photos; words that a tape may be run.

Why: a tape that should not be run must say so wherever it stands in a list, and a station must be
able to ask. Where a report leaves a defect says how far it reaches; what somebody photographed
is kept with it. `adhesive or old repair` was two kinds of defect, and is taken for the second.
Safe beside the release before: as long as no report names a defect of a kind that it does not
know, or how far one reaches.
Reversible: yes; photos and permissions are lost, and new kinds of defects become the old kind
that is nearest.
"""

import json

import sqlalchemy as sa
from alembic import op

revision = "condition_in_full"
down_revision = "rights_and_access"
branch_labels = None
depends_on = None

LAST = """
UPDATE tape SET reported_unfit = coalesce((
    SELECT CASE WHEN r.handling = 'do not run' OR r.state = 'unfit for a reader'
        OR r.machine_readable = false THEN true ELSE false END
    FROM condition_report r WHERE r.tape_id = tape.id
    ORDER BY r.checked_on DESC, r.id DESC LIMIT 1
), false), next_check = (
    SELECT r.next_check FROM condition_report r WHERE r.tape_id = tape.id
    ORDER BY r.checked_on DESC, r.id DESC LIMIT 1
) WHERE {tapes};
"""

TRIGGERS = {
    "INSERT": LAST.format(tapes="id = new.tape_id"),
    "UPDATE": LAST.format(tapes="id IN (old.tape_id, new.tape_id)"),
    "DELETE": LAST.format(tapes="id = old.tape_id"),
}

REPORT = sa.table("condition_report", sa.column("id", sa.Integer), sa.column("defects", sa.JSON))

BEFORE = {
    "old repair": "adhesive or old repair",
    "adhesive residue": "adhesive or old repair",
    "hole in the paper": "missing piece",
    "edge wear": "torn edge",
    "tideline": "water damage",
    "foxing": "discolouration",
    "rodent damage": "insect damage",
    "elongated feed holes": "worn feed holes",
    "mispunched holes": "blocked holes",
    "skew": "curl",
    "oil loss": "oil bleed",
}


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    reports()
    permissions()
    photos()
    op.add_column(
        "tape",
        sa.Column("reported_unfit", sa.Boolean(), server_default=sa.false(), nullable=False),
    )
    op.add_column("tape", sa.Column("next_check", sa.Date(), nullable=True))
    op.execute(LAST.format(tapes="id > 0"))
    op.create_index(op.f("ix_tape_next_check"), "tape", ["next_check"])
    for change, body in TRIGGERS.items():
        keep_current(change, body)
    rename_defects({"adhesive or old repair": "old repair"})


def reports() -> None:
    for name, usual in (
        ("handling", "as usual"),
        ("action", "nothing"),
        ("urgency", "in its time"),
    ):
        op.add_column(
            "condition_report", sa.Column(name, sa.String(), server_default=usual, nullable=False)
        )
    op.add_column("condition_report", sa.Column("next_check", sa.Date(), nullable=True))
    op.add_column("condition_report", sa.Column("key", sa.String(), nullable=True))
    op.create_index("uq_condition_report_key", "condition_report", ["key"], unique=True)


def permissions() -> None:
    op.create_table(
        "run_permission",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tape_id", sa.Integer(), nullable=False),
        sa.Column("granted_by_id", sa.Integer(), nullable=True),
        sa.Column("granted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("valid_until", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run_permission")),
        sa.ForeignKeyConstraint(
            ["tape_id"], ["tape.id"], name=op.f("fk_run_permission_tape_id_tape")
        ),
        sa.ForeignKeyConstraint(
            ["granted_by_id"], ["person.id"], name=op.f("fk_run_permission_granted_by_id_person")
        ),
    )
    op.create_index(op.f("ix_run_permission_tape_id"), "run_permission", ["tape_id"])
    op.create_index(op.f("ix_run_permission_granted_by_id"), "run_permission", ["granted_by_id"])


def photos() -> None:
    op.create_table(
        "photo_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("small_width", sa.Integer(), nullable=False),
        sa.Column("small_height", sa.Integer(), nullable=False),
        sa.Column("whole", sa.LargeBinary(), nullable=False),
        sa.Column("small", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo_file")),
        sa.UniqueConstraint("sha256", name=op.f("uq_photo_file_sha256")),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_photo_file_sha256")),
    )
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("tape_id", sa.Integer(), nullable=False),
        sa.Column("report_id", sa.Integer(), nullable=True),
        sa.Column("shows", sa.String(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("added_by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo")),
        sa.ForeignKeyConstraint(
            ["file_id"], ["photo_file.id"], name=op.f("fk_photo_file_id_photo_file")
        ),
        sa.ForeignKeyConstraint(["tape_id"], ["tape.id"], name=op.f("fk_photo_tape_id_tape")),
        sa.ForeignKeyConstraint(
            ["report_id"],
            ["condition_report.id"],
            name=op.f("fk_photo_report_id_condition_report"),
        ),
        sa.ForeignKeyConstraint(
            ["added_by_id"], ["person.id"], name=op.f("fk_photo_added_by_id_person")
        ),
    )
    for name in ("file_id", "tape_id", "report_id", "added_by_id"):
        op.create_index(op.f(f"ix_photo_{name}"), "photo", [name])
    if on_sqlite():
        body = "BEGIN SELECT RAISE(ABORT, 'a row of photo_file refuses this update'); END"
    else:
        body = "EXECUTE FUNCTION feedhole_refuse()"
    op.execute(
        f"CREATE TRIGGER tr_photo_file_no_update BEFORE UPDATE ON photo_file FOR EACH ROW {body}"
    )


def name_of(change: str) -> str:
    return f"tr_condition_report_running_on_{change.lower()}"


def keep_current(change: str, body: str) -> None:
    name = name_of(change)
    if on_sqlite():
        op.execute(f"CREATE TRIGGER {name} AFTER {change} ON condition_report BEGIN {body} END")
        return
    op.execute(
        f"CREATE FUNCTION feedhole_{name}() RETURNS trigger LANGUAGE plpgsql AS"
        f" $$ BEGIN {body} RETURN NULL; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {name} AFTER {change} ON condition_report FOR EACH ROW"
        f" EXECUTE FUNCTION feedhole_{name}()"
    )


def rename_defects(kinds: dict[str, str], drop: tuple[str, ...] = ()) -> None:
    bind = op.get_bind()
    for report_id, defects in bind.execute(sa.select(REPORT.c.id, REPORT.c.defects)).all():
        renamed = [
            {name: each[name] for name in each if name not in drop}
            | {"kind": kinds.get(each["kind"], each["kind"])}
            for each in defects
        ]
        if json.dumps(renamed) != json.dumps(defects):
            bind.execute(sa.update(REPORT).where(REPORT.c.id == report_id).values(defects=renamed))


def downgrade() -> None:
    rename_defects(BEFORE, drop=("extent", "length_mm"))
    for change in TRIGGERS:
        name = name_of(change)
        if on_sqlite():
            op.execute(f"DROP TRIGGER {name}")
        else:
            op.execute(f"DROP TRIGGER {name} ON condition_report")
            op.execute(f"DROP FUNCTION feedhole_{name}()")
    op.drop_index(op.f("ix_tape_next_check"), "tape")
    op.drop_column("tape", "next_check")
    op.drop_column("tape", "reported_unfit")
    for table in ("photo", "photo_file", "run_permission"):
        op.drop_table(table)
    op.drop_index("uq_condition_report_key", "condition_report")
    for name in ("key", "next_check", "urgency", "action", "handling"):
        op.drop_column("condition_report", name)
