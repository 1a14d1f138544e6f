"""An image whose frames are not those of its name may be given those that are, and no others.

Why: a fixity audit that finds damage on the disk should be able to mend it from a good copy.
The name of an image is the SHA-256 of its frames, so the database itself can tell a good copy:
every other change is refused as before, and so is any change while the frames are sound.
Safe beside the release before: yes, it never changes an image.
Reversible: yes, and nothing is lost.

SQLite knows no SHA-256 of its own: the trigger asks the connection for `feedhole_sha256`, which
`server.store.engine` gives it. A connection without that function can change no image at all.
"""

from alembic import op

revision = "mended_images"
down_revision = "own_lists"
branch_labels = None
depends_on = None

SAME = ("id", "sha256", "levels", "created_at")


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    if on_sqlite():
        op.execute("DROP TRIGGER tr_image_no_update")
        refuse_on_sqlite(f"WHEN NOT ({mends('IS', 'feedhole_sha256({})', 'length({})')})")
        return
    op.execute("DROP TRIGGER tr_image_no_update ON image")
    digest, length = "encode(sha256({}), 'hex')", "octet_length({})"
    refuse_on_postgres(f"WHEN (NOT ({mends('IS NOT DISTINCT FROM', digest, length)}))")


def mends(equals: str, digest: str, length: str) -> str:
    """The condition that an update puts sound frames in the place of damaged ones."""
    sound = f"{digest.format('NEW.frames')} {equals} OLD.sha256"
    size = f"{length.format('NEW.frames')} {equals} NEW.size"
    was_sound = f"{digest.format('OLD.frames')} {equals} OLD.sha256 AND OLD.size {equals} NEW.size"
    same = (f"NEW.{name} {equals} OLD.{name}" for name in SAME)
    return " AND ".join((*same, sound, size, f"NOT ({was_sound})"))


def refuse_on_sqlite(condition: str = "") -> None:
    op.execute(
        f"CREATE TRIGGER tr_image_no_update BEFORE UPDATE ON image FOR EACH ROW {condition}"
        " BEGIN SELECT RAISE(ABORT, 'a row of image refuses this update'); END"
    )


def refuse_on_postgres(condition: str = "") -> None:
    op.execute(
        f"CREATE TRIGGER tr_image_no_update BEFORE UPDATE ON image FOR EACH ROW {condition}"
        " EXECUTE FUNCTION feedhole_refuse()"
    )


def downgrade() -> None:
    if on_sqlite():
        op.execute("DROP TRIGGER tr_image_no_update")
        refuse_on_sqlite()
        return
    op.execute("DROP TRIGGER tr_image_no_update ON image")
    refuse_on_postgres()
