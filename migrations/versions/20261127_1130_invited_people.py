"""People come by invitation, sign in with passkeys too, and agree to be named or are not.

Why: an administrator should not have to know anybody's password, a token should reach no further
than it must, and nobody is named to the whole world who did not agree.
Safe beside the release before: yes, what it does not know of has a value by itself; tokens that
it issues meanwhile may be used for all that tokens could be used for until now.
Reversible: yes; invitations and passkeys are lost, and every token reaches as far as its person.
"""

import sqlalchemy as sa
from alembic import op

revision = "invited_people"
down_revision = "fuller_programs"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)
ALL_SCOPES = "read upload describe keep punch work account people"


def upgrade() -> None:
    op.add_column("person", sa.Column("seen_at", MOMENT, nullable=True))
    op.add_column(
        "person", sa.Column("named", sa.Boolean(), server_default=sa.false(), nullable=False)
    )
    op.add_column("sign_in", sa.Column("browser", sa.String(), nullable=True))
    op.add_column(
        "api_token", sa.Column("scopes", sa.String(), server_default=ALL_SCOPES, nullable=False)
    )
    create_invitations()
    create_passkeys()


def downgrade() -> None:
    for table in ("passkey_challenge", "passkey", "invitation"):
        op.drop_table(table)
    op.drop_column("api_token", "scopes")
    op.drop_column("sign_in", "browser")
    op.drop_column("person", "named")
    op.drop_column("person", "seen_at")


def create_invitations() -> None:
    op.create_table(
        "invitation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("invited_by_id", sa.Integer(), nullable=True),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("expires_at", MOMENT, nullable=False),
        sa.Column("withdrawn_at", MOMENT, nullable=True),
        sa.Column("used_at", MOMENT, nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_invitation")),
        sa.ForeignKeyConstraint(
            ["invited_by_id"], ["person.id"], name=op.f("fk_invitation_invited_by_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_invitation_person_id_person")
        ),
        sa.UniqueConstraint("token_hash", name=op.f("uq_invitation_token_hash")),
    )
    op.create_index(op.f("ix_invitation_invited_by_id"), "invitation", ["invited_by_id"])
    op.create_index(op.f("ix_invitation_person_id"), "invitation", ["person_id"])


def create_passkeys() -> None:
    op.create_table(
        "passkey",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("credential_id", sa.String(), nullable=False),
        sa.Column("credential", sa.LargeBinary(), nullable=False),
        sa.Column("site", sa.String(), nullable=False),
        sa.Column("uses", sa.BigInteger(), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("used_at", MOMENT, nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_passkey")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_passkey_person_id_person")
        ),
        sa.UniqueConstraint("credential_id", name=op.f("uq_passkey_credential_id")),
    )
    op.create_index(op.f("ix_passkey_person_id"), "passkey", ["person_id"])
    op.create_table(
        "passkey_challenge",
        sa.Column("challenge", sa.String(), nullable=False),
        sa.Column("session_hash", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("expires_at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("challenge", name=op.f("pk_passkey_challenge")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_passkey_challenge_person_id_person")
        ),
    )
    op.create_index(
        op.f("ix_passkey_challenge_session_hash"), "passkey_challenge", ["session_hash"]
    )
    op.create_index(op.f("ix_passkey_challenge_expires_at"), "passkey_challenge", ["expires_at"])
