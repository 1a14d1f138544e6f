"""Merged readings: what several readings of a tape came to, and the evidence, written once.

Why: poor readings together may give one image that can be trusted; who trusts it wants to see why.
Safe beside the release before: yes, it sees the image of a merged reading as one more reading.
Reversible: yes; the merged readings are lost, their images and what was logged of them stay.
"""

import sqlalchemy as sa
from alembic import op

revision = "merged_readings"
down_revision = "punchings"
branch_labels = None
depends_on = None

KEPT = ("merged_reading", "merged_source")


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    create_merged_readings()
    create_sources()
    for table in KEPT:
        refuse(table, "update", "UPDATE")
        refuse(table, "delete", "DELETE")
        if not on_sqlite():
            refuse(table, "truncate", "TRUNCATE", each="STATEMENT")


def create_merged_readings() -> None:
    op.create_table(
        "merged_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("follows_id", sa.Integer(), nullable=True),
        sa.Column("release", sa.String(), nullable=False),
        sa.Column("agreement", sa.String(), nullable=False),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("settlements", sa.JSON(), nullable=False),
        sa.Column("counts", sa.JSON(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=True),
        sa.Column("disputes", sa.LargeBinary(), nullable=False),
        sa.Column("confidence", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_merged_reading")),
        sa.UniqueConstraint("reading_id", name=op.f("uq_merged_reading_reading_id")),
        sa.UniqueConstraint("follows_id", name=op.f("uq_merged_reading_follows_id")),
        sa.CheckConstraint("follows_id < id", name=op.f("ck_merged_reading_order")),
        sa.ForeignKeyConstraint(
            ["reading_id"], ["reading.id"], name=op.f("fk_merged_reading_reading_id_reading")
        ),
        sa.ForeignKeyConstraint(
            ["follows_id"],
            ["merged_reading.id"],
            name=op.f("fk_merged_reading_follows_id_merged_reading"),
        ),
        sa.ForeignKeyConstraint(
            ["made_by_id"], ["person.id"], name=op.f("fk_merged_reading_made_by_id_person")
        ),
    )
    op.create_index(op.f("ix_merged_reading_made_by_id"), "merged_reading", ["made_by_id"])


def create_sources() -> None:
    op.create_table(
        "merged_source",
        sa.Column("merged_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=False),
        sa.Column("orientation", sa.String(), nullable=False),
        sa.Column("start", sa.Integer(), nullable=False),
        sa.Column("stop", sa.Integer(), nullable=False),
        sa.Column("flipped", sa.Integer(), nullable=False),
        sa.Column("dropped", sa.Integer(), nullable=False),
        sa.Column("doubled", sa.Integer(), nullable=False),
        sa.Column("added", sa.Integer(), nullable=False),
        sa.Column("score", sa.Float(), nullable=False),
        sa.Column("is_equal", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("merged_id", "place", name=op.f("pk_merged_source")),
        sa.ForeignKeyConstraint(
            ["merged_id"],
            ["merged_reading.id"],
            name=op.f("fk_merged_source_merged_id_merged_reading"),
        ),
        sa.ForeignKeyConstraint(
            ["reading_id"], ["reading.id"], name=op.f("fk_merged_source_reading_id_reading")
        ),
    )
    op.create_index(op.f("ix_merged_source_reading_id"), "merged_source", ["reading_id"])


def refuse(table: str, change: str, occasion: str, each: str = "ROW") -> None:
    if on_sqlite():
        body = f"BEGIN SELECT RAISE(ABORT, 'a row of {table} refuses this {change}'); END"
    else:
        body = "EXECUTE FUNCTION feedhole_refuse()"
    op.execute(
        f"CREATE TRIGGER tr_{table}_no_{change} BEFORE {occasion} ON {table} FOR EACH {each} {body}"
    )


def downgrade() -> None:
    op.drop_table("merged_source")
    op.drop_table("merged_reading")
