"""Load sheets: what a demonstrator takes to the machine, with every text that each has had.

Why: the steps at the machine are known to people, not to the tape; they are written down once,
and nothing that was written is lost.
Safe beside the release before: yes, it does not know the tables.
Reversible: yes; the texts that people wrote are lost.
"""

import sqlalchemy as sa
from alembic import op

revision = "load_sheets"
down_revision = "search_at_scale"
branch_labels = None
depends_on = None


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    create_sheets()
    create_texts()
    refuse("update", "UPDATE")
    refuse("delete", "DELETE")
    if not on_sqlite():
        refuse("truncate", "TRUNCATE", each="STATEMENT")


def create_sheets() -> None:
    op.create_table(
        "load_sheet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=True),
        sa.Column("image_id", sa.Integer(), nullable=True),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_load_sheet")),
        sa.CheckConstraint(
            "(version_id IS NULL) <> (image_id IS NULL)", name=op.f("ck_load_sheet_of_one_thing")
        ),
        sa.CheckConstraint("revision > 0", name=op.f("ck_load_sheet_revision")),
        sa.ForeignKeyConstraint(
            ["version_id"], ["version.id"], name=op.f("fk_load_sheet_version_id_version")
        ),
        sa.ForeignKeyConstraint(
            ["image_id"], ["image.id"], name=op.f("fk_load_sheet_image_id_image")
        ),
        sa.UniqueConstraint("version_id", name=op.f("uq_load_sheet_version_id")),
        sa.UniqueConstraint("image_id", name=op.f("uq_load_sheet_image_id")),
    )


def create_texts() -> None:
    op.create_table(
        "load_sheet_text",
        sa.Column("sheet_id", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("revision", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("texts", sa.JSON(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("sheet_id", "revision", name=op.f("pk_load_sheet_text")),
        sa.ForeignKeyConstraint(
            ["sheet_id"], ["load_sheet.id"], name=op.f("fk_load_sheet_text_sheet_id_load_sheet")
        ),
        sa.ForeignKeyConstraint(
            ["made_by_id"], ["person.id"], name=op.f("fk_load_sheet_text_made_by_id_person")
        ),
    )
    op.create_index(op.f("ix_load_sheet_text_made_by_id"), "load_sheet_text", ["made_by_id"])


def refuse(change: str, occasion: str, each: str = "ROW") -> None:
    body = "EXECUTE FUNCTION feedhole_refuse()"
    if on_sqlite():
        body = f"BEGIN SELECT RAISE(ABORT, 'a row of load_sheet_text refuses this {change}'); END"
    op.execute(
        f"CREATE TRIGGER tr_load_sheet_text_no_{change} BEFORE {occasion} ON load_sheet_text"
        f" FOR EACH {each} {body}"
    )


def downgrade() -> None:
    op.drop_table("load_sheet_text")
    op.drop_table("load_sheet")
