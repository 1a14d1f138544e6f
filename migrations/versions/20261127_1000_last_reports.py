"""Tapes know the day of their newest condition report, and the program of their image at once.

Why: the first page counts what nobody has looked at for years, and what resembles something
else; it went through the reports and the readings of every tape for that.
Safe beside the release before: yes, triggers fill the column, and it does not ask for an index.
Reversible: yes, and nothing is lost; the column can be made again.
"""

import sqlalchemy as sa
from alembic import op

revision = "last_reports"
down_revision = "mended_images"
branch_labels = None
depends_on = None

LAST = """
UPDATE tape SET last_report = (
    SELECT max(checked_on) FROM condition_report WHERE condition_report.tape_id = tape.id
) WHERE {tapes};
"""

TRIGGERS = {
    "INSERT": LAST.format(tapes="id = new.tape_id"),
    "UPDATE": LAST.format(tapes="id IN (old.tape_id, new.tape_id)"),
    "DELETE": LAST.format(tapes="id = old.tape_id"),
}


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    op.add_column("tape", sa.Column("last_report", sa.Date(), nullable=True))
    op.execute(LAST.format(tapes="id > 0"))
    op.create_index(op.f("ix_tape_last_report"), "tape", ["last_report"])
    for change, body in TRIGGERS.items():
        keep_current(change, body)
    op.drop_index(op.f("ix_tape_image_id"), "tape")
    op.create_index(op.f("ix_tape_image_id_program_id"), "tape", ["image_id", "program_id"])


def name_of(change: str) -> str:
    return f"tr_condition_report_to_tape_on_{change.lower()}"


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


def downgrade() -> None:
    op.drop_index(op.f("ix_tape_image_id_program_id"), "tape")
    op.create_index(op.f("ix_tape_image_id"), "tape", ["image_id"])
    for change in TRIGGERS:
        name = name_of(change)
        if on_sqlite():
            op.execute(f"DROP TRIGGER {name}")
        else:
            op.execute(f"DROP TRIGGER {name} ON condition_report")
            op.execute(f"DROP FUNCTION feedhole_{name}()")
    op.drop_index(op.f("ix_tape_last_report"), "tape")
    op.drop_column("tape", "last_report")
