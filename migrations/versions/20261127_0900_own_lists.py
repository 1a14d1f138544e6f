"""Own lists: what each person took on from the queues of work; queues find what is unverified.

Why: two volunteers who read the same list of work do the same tape, unless each can take it.
An index tells at once which images nothing vouches for, as most queues ask.
Safe beside the release before: yes, it knows nothing of the table.
Reversible: yes; the lists are lost, and nothing else.
"""

import sqlalchemy as sa
from alembic import op

revision = "own_lists"
down_revision = "merged_readings"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index(op.f("ix_tape_verified_check_status"), "tape", ["verified", "check_status"])
    op.create_table(
        "work_item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("queue", sa.String(), nullable=False),
        sa.Column("tape_id", sa.Integer(), nullable=True),
        sa.Column("image_id", sa.Integer(), nullable=True),
        sa.Column("other_id", sa.Integer(), nullable=True),
        sa.Column("put_on_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_work_item")),
        sa.CheckConstraint(
            "(tape_id IS NULL) <> (image_id IS NULL)", name=op.f("ck_work_item_one_object")
        ),
        sa.CheckConstraint(
            "other_id IS NULL OR image_id < other_id", name=op.f("ck_work_item_order")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_work_item_person_id_person")
        ),
        sa.ForeignKeyConstraint(["tape_id"], ["tape.id"], name=op.f("fk_work_item_tape_id_tape")),
        sa.ForeignKeyConstraint(
            ["image_id"], ["image.id"], name=op.f("fk_work_item_image_id_image")
        ),
        sa.ForeignKeyConstraint(
            ["other_id"], ["image.id"], name=op.f("fk_work_item_other_id_image")
        ),
    )
    op.create_index(op.f("ix_work_item_person_id"), "work_item", ["person_id"])
    op.create_index(op.f("ix_work_item_other_id"), "work_item", ["other_id"])
    op.create_index(
        "uq_work_item_tape", "work_item", ["tape_id", "queue", "person_id"], unique=True
    )
    op.create_index(
        "uq_work_item_pair",
        "work_item",
        ["image_id", "other_id", "queue", "person_id"],
        unique=True,
    )
    alone = sa.text("other_id IS NULL")
    op.create_index(
        "uq_work_item_image",
        "work_item",
        ["image_id", "queue", "person_id"],
        unique=True,
        sqlite_where=alone,
        postgresql_where=alone,
    )


def downgrade() -> None:
    op.drop_table("work_item")
    op.drop_index(op.f("ix_tape_verified_check_status"), "tape")
