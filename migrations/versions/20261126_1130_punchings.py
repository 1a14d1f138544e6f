"""Punchings: new tapes made from images, and how each compared when it was read back.

Why: a tape that was punched is a copy only once somebody has read it back and found the same.
Safe beside the release before: yes, it does not know the tables.
Reversible: yes; what was prepared, and readings that differed, are lost. The tapes made stay.
"""

import sqlalchemy as sa
from alembic import op

revision = "punchings"
down_revision = "load_sheets"
branch_labels = None
depends_on = None

CHANGES = {
    # Where it stands changes, and what is known of the tape; what it was made of does not.
    "punching": (
        "UPDATE OF id, first_id, reel, reels, image_id, version_id, preparation, changes,"
        " cautions, lettering, format, sha256, size, levels, data_start, data_stop, frames,"
        " prepared_at, prepared_by_id"
    ),
    "read_back": "UPDATE",
}


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    create_punchings()
    create_read_backs()
    for table, changes in CHANGES.items():
        refuse(table, "update", changes)
        refuse(table, "delete", "DELETE")
        if not on_sqlite():
            refuse(table, "truncate", "TRUNCATE", each="STATEMENT")


def create_punchings() -> None:
    op.create_table(
        "punching",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer(), nullable=True),
        sa.Column("reel", sa.Integer(), nullable=False),
        sa.Column("reels", sa.Integer(), nullable=False),
        sa.Column("image_id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=True),
        sa.Column("preparation", sa.JSON(), nullable=False),
        sa.Column("changes", sa.JSON(), nullable=False),
        sa.Column("cautions", sa.JSON(), nullable=False),
        sa.Column("lettering", sa.String(), nullable=False),
        sa.Column("format", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("levels", sa.Integer(), nullable=False),
        sa.Column("data_start", sa.Integer(), nullable=False),
        sa.Column("data_stop", sa.Integer(), nullable=False),
        sa.Column("status", sa.String(), nullable=False),
        sa.Column("prepared_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("prepared_by_id", sa.Integer(), nullable=True),
        sa.Column("punched_on", sa.Date(), nullable=True),
        sa.Column("punched_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("punched_by_id", sa.Integer(), nullable=True),
        sa.Column("medium", sa.String(), nullable=False),
        sa.Column("punch", sa.String(), nullable=False),
        sa.Column("rate", sa.Float(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("tape_id", sa.Integer(), nullable=True),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("frames", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_punching")),
        sa.CheckConstraint("levels BETWEEN 5 AND 8", name=op.f("ck_punching_levels")),
        sa.CheckConstraint("reel BETWEEN 1 AND reels", name=op.f("ck_punching_reel")),
        sa.CheckConstraint(
            "(tape_id IS NULL) = (status <> 'read back: same')", name=op.f("ck_punching_tape")
        ),
        sa.CheckConstraint(
            "data_start BETWEEN 0 AND data_stop AND data_stop <= size",
            name=op.f("ck_punching_data"),
        ),
        *_foreign_keys(
            "punching",
            {
                "first_id": "punching",
                "image_id": "image",
                "version_id": "version",
                "prepared_by_id": "person",
                "punched_by_id": "person",
                "tape_id": "tape",
            },
        ),
        sa.UniqueConstraint("tape_id", name=op.f("uq_punching_tape_id")),
    )
    for column in (
        "first_id",
        "image_id",
        "version_id",
        "status",
        "prepared_by_id",
        "punched_by_id",
    ):
        op.create_index(op.f(f"ix_punching_{column}"), "punching", [column])


def create_read_backs() -> None:
    op.create_table(
        "read_back",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("punching_id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=True),
        sa.Column("same", sa.Boolean(), nullable=False),
        sa.Column("comparison", sa.JSON(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("file_name", sa.String(), nullable=False),
        sa.Column("read_on", sa.Date(), nullable=True),
        sa.Column("reader", sa.String(), nullable=False),
        sa.Column("compared_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("compared_by_id", sa.Integer(), nullable=True),
        sa.Column("frames", sa.LargeBinary(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_read_back")),
        sa.CheckConstraint(
            "(reading_id IS NULL) = (frames IS NOT NULL)", name=op.f("ck_read_back_kept_once")
        ),
        *_foreign_keys(
            "read_back",
            {"punching_id": "punching", "reading_id": "reading", "compared_by_id": "person"},
        ),
        sa.UniqueConstraint("reading_id", name=op.f("uq_read_back_reading_id")),
    )
    for column in ("punching_id", "compared_by_id"):
        op.create_index(op.f(f"ix_read_back_{column}"), "read_back", [column])


def _foreign_keys(table: str, targets: dict[str, str]) -> list[sa.ForeignKeyConstraint]:
    return [
        sa.ForeignKeyConstraint(
            [column], [f"{target}.id"], name=op.f(f"fk_{table}_{column}_{target}")
        )
        for column, target in targets.items()
    ]


def refuse(table: str, change: str, occasion: str, each: str = "ROW") -> None:
    body = "EXECUTE FUNCTION feedhole_refuse()"
    if on_sqlite():
        body = f"BEGIN SELECT RAISE(ABORT, 'a row of {table} refuses this {change}'); END"
    op.execute(
        f"CREATE TRIGGER tr_{table}_no_{change} BEFORE {occasion} ON {table} FOR EACH {each} {body}"
    )


def downgrade() -> None:
    op.drop_table("read_back")
    op.drop_table("punching")
