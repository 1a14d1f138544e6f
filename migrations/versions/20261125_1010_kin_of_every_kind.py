"""Kin that were renumbered, moved or are parts; their normal forms; decisions on families.

Why: a query for kin need not bring twenty listings to their normal form again, and what an
archivist decided about a family stays when images are decoded again.
Safe beside the release before: yes, it writes kinships without the new columns, which have
defaults. Images that it takes in have no normal form kept; one is made when it is asked for.
Reversible: yes; the decisions are lost, and so are kinships of a kind that the release before
has no word for.
"""

import sqlalchemy as sa
from alembic import op

revision = "kin_of_every_kind"
down_revision = "search_any_run"
branch_labels = None
depends_on = None

NEW_KINDS = ("renumbered", "relocated", "part-of", "holds")


def upgrade() -> None:
    add_columns()
    create_normal_forms()
    create_decisions()


def add_columns() -> None:
    op.add_column(
        "kinship",
        sa.Column("renumbered", sa.Boolean(), nullable=False, server_default=sa.false()),
    )
    op.add_column(
        "kinship", sa.Column("moved_by", sa.BigInteger(), nullable=False, server_default="0")
    )


def create_normal_forms() -> None:
    op.create_table(
        "normal_form",
        sa.Column("image_id", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("release", sa.Integer(), nullable=False),
        sa.Column("textual", sa.Boolean(), nullable=False),
        sa.Column("packed", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("image_id", name=op.f("pk_normal_form")),
        sa.ForeignKeyConstraint(
            ["image_id"], ["image.id"], name=op.f("fk_normal_form_image_id_image")
        ),
    )


def create_decisions() -> None:
    op.create_table(
        "family_decision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("other_sha256", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_family_decision")),
        sa.CheckConstraint(
            "kind IN ('together', 'apart', 'made-from', 'undecided')",
            name=op.f("ck_family_decision_kind"),
        ),
        sa.CheckConstraint("sha256 <> other_sha256", name=op.f("ck_family_decision_two_images")),
        sa.ForeignKeyConstraint(
            ["sha256"], ["image.sha256"], name=op.f("fk_family_decision_sha256_image")
        ),
        sa.ForeignKeyConstraint(
            ["other_sha256"],
            ["image.sha256"],
            name=op.f("fk_family_decision_other_sha256_image"),
        ),
        sa.ForeignKeyConstraint(
            ["made_by_id"], ["person.id"], name=op.f("fk_family_decision_made_by_id_person")
        ),
    )
    op.create_index(op.f("ix_family_decision_sha256"), "family_decision", ["sha256"])
    op.create_index(op.f("ix_family_decision_other_sha256"), "family_decision", ["other_sha256"])
    op.create_index(op.f("ix_family_decision_made_by_id"), "family_decision", ["made_by_id"])


def downgrade() -> None:
    op.drop_table("family_decision")
    op.drop_table("normal_form")
    op.execute(
        sa.text("DELETE FROM kinship WHERE kind IN :kinds").bindparams(
            sa.bindparam("kinds", NEW_KINDS, expanding=True)
        )
    )
    op.drop_column("kinship", "moved_by")
    op.drop_column("kinship", "renumbered")
