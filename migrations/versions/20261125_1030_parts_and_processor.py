"""Parts, blocks, figures and the likely processor of a tape, beside the rest of a decoding.

Why: a tape of several programs shows what it is made of, and its code can be read.
Safe beside the release before: yes, it writes decodings without the new columns; those then say
nothing of them, until the images are decoded again.
Reversible: yes; all are found again in the frames.
"""

import sqlalchemy as sa
from alembic import op

revision = "parts_and_processor"
down_revision = "kin_of_every_kind"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("decoding", sa.Column("processor", sa.JSON(), nullable=True))
    op.add_column("decoding", sa.Column("parts", sa.JSON(), nullable=True))
    op.add_column("decoding", sa.Column("blocks", sa.JSON(), nullable=True))
    op.add_column("decoding", sa.Column("facts", sa.JSON(), nullable=True))


def downgrade() -> None:
    op.drop_column("decoding", "facts")
    op.drop_column("decoding", "blocks")
    op.drop_column("decoding", "parts")
    op.drop_column("decoding", "processor")
