"""Work is found by its day, and tapes that must not run by an index.

Why: the page on the state of the library counts a year's work, and what is in danger.
Safe beside the release before: yes, it does not ask for an index.
Reversible: yes, and nothing is lost.
"""

from alembic import op

revision = "work_by_day"
down_revision = "loans"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index(op.f("ix_reading_read_on_accepted_at"), "reading", ["read_on", "accepted_at"])
    op.create_index(op.f("ix_verification_made_at"), "verification", ["made_at"])
    op.create_index(op.f("ix_punching_punched_on"), "punching", ["punched_on"])
    op.create_index(op.f("ix_tape_reported_unfit"), "tape", ["reported_unfit"])


def downgrade() -> None:
    op.drop_index(op.f("ix_tape_reported_unfit"), "tape")
    op.drop_index(op.f("ix_punching_punched_on"), "punching")
    op.drop_index(op.f("ix_verification_made_at"), "verification")
    op.drop_index(op.f("ix_reading_read_on_accepted_at"), "reading")
