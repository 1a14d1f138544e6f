"""Places as a tree, where each tape is and belongs, and every move.

Why: the place of a tape was a line of text: a box could not be moved with what lies in it, nobody
knew who moved what, and a tape could not be missing.
Safe beside the release before: yes; what that writes as a place stays text until the next move.
Reversible: yes; each tape keeps its written place, the tree and the moves are lost.
"""

import re
from collections.abc import Iterator
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "places"
down_revision = "condition_in_full"
branch_labels = None
depends_on = None

BYTEWISE = sa.String().with_variant(sa.String(collation="C"), "postgresql")

RESERVED = ("missing", "on loan")

KINDS = {
    "box": ("box", "carton", "tin", "bag"),
    "shelf": ("shelf", "board"),
    "drawer": ("drawer",),
    "cupboard": ("cupboard", "cabinet", "rack", "safe"),
    "table": ("table", "bench", "desk"),
    "room": ("room", "loft", "cellar", "porch", "hall", "office", "store", "attic"),
}


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    make_tables()
    for change in ("update", "delete"):
        refuse(change, change.upper())
    if not on_sqlite():
        refuse("truncate", "TRUNCATE", each="STATEMENT")
    places_of_texts()


def make_tables() -> None:
    op.create_table(
        "place",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("parent_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("path", sa.String(), nullable=False),
        sa.Column("path_key", BYTEWISE, nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place")),
        sa.UniqueConstraint("path_key", name=op.f("uq_place_path_key")),
        *references("place", parent_id="place"),
    )
    op.create_table(
        "whereabouts",
        sa.Column("tape_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=True),
        sa.Column("usual_id", sa.Integer(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("tape_id", name=op.f("pk_whereabouts")),
        *references("whereabouts", tape_id="tape", place_id="place", usual_id="place"),
    )
    op.create_table(
        "movement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tape_id", sa.Integer(), nullable=False),
        sa.Column("moved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("moved_by_id", sa.Integer(), nullable=True),
        sa.Column("agent", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("from_id", sa.Integer(), nullable=True),
        sa.Column("from_where", sa.String(), nullable=False),
        sa.Column("to_id", sa.Integer(), nullable=True),
        sa.Column("to_where", sa.String(), nullable=False),
        sa.Column("with_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_movement")),
        *references(
            "movement",
            tape_id="tape",
            moved_by_id="person",
            from_id="place",
            to_id="place",
            with_id="place",
        ),
    )
    for table, columns in (
        ("place", ("parent_id",)),
        ("whereabouts", ("place_id", "usual_id", "state")),
        ("movement", ("tape_id", "moved_by_id", "from_id", "to_id", "with_id")),
    ):
        for column in columns:
            op.create_index(op.f(f"ix_{table}_{column}"), table, [column])


def references(table: str, **columns: str) -> Iterator[sa.ForeignKeyConstraint]:
    for column, to in columns.items():
        yield sa.ForeignKeyConstraint(
            [column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}")
        )


def refuse(change: str, occasion: str, each: str = "ROW") -> None:
    """A move that was logged is never changed: the next one says what was wrong with it."""
    if on_sqlite():
        body = f"BEGIN SELECT RAISE(ABORT, 'a row of movement refuses this {change}'); END"
    else:
        body = "EXECUTE FUNCTION feedhole_refuse()"
    op.execute(
        f"CREATE TRIGGER tr_movement_no_{change} BEFORE {occasion} ON movement"
        f" FOR EACH {each} {body}"
    )


def places_of_texts() -> None:
    """A place for each text, those that differ only in capitals, spaces and zeros in one."""
    bind = op.get_bind()
    known: dict[str, tuple[int, str]] = {}
    texts = bind.execute(sa.text("SELECT DISTINCT place FROM tape WHERE place <> ''"))
    written = []
    for text in sorted(text for (text,) in texts):
        names = [name for part in text.split(",") if (name := " ".join(part.split()))]
        if names:
            place, path = place_of(bind, names, known)
            written.append({"place": place, "path": path, "text": text})
    # All are looked up by their own texts before any is written anew.
    for each in written:
        bind.execute(
            sa.text(
                "INSERT INTO whereabouts (tape_id, place_id, usual_id, state)"
                " SELECT id, :place, :place, 'placed' FROM tape WHERE place = :text"
            ),
            each,
        )
    for each in written:
        bind.execute(sa.text("UPDATE tape SET place = :path WHERE place = :text"), each)


def place_of(
    bind: sa.Connection, names: list[str], known: dict[str, tuple[int, str]]
) -> tuple[int, str]:
    """The place of these names, and its written path; made where there is none."""
    parent: int | None = None
    path = key = ""
    for name in names:
        called = f"{name} (a place)" if not path and name.lower() in RESERVED else name
        key = f"{key}\x1f{key_of(called)}" if key else key_of(called)
        path = f"{path}, {called}" if path else called
        if key not in known:
            known[key] = (insert(bind, parent, called, path, key), path)
        parent, path = known[key]
    assert parent is not None
    return parent, path


def key_of(name: str) -> str:
    return re.sub(r"[0-9]+", lambda digits: digits[0].zfill(12), name.lower())


def insert(bind: sa.Connection, parent: int | None, name: str, path: str, key: str) -> int:
    now = datetime.now(UTC).replace(tzinfo=None) if on_sqlite() else datetime.now(UTC)
    place = sa.table(
        "place",
        *(sa.column(each) for each in ("parent_id", "kind", "name", "note", "path", "path_key")),
        sa.column("id"),
        sa.column("created_at", sa.DateTime(timezone=True)),
        sa.column("updated_at", sa.DateTime(timezone=True)),
        sa.column("revision"),
    )
    values = {
        "parent_id": parent,
        "kind": kind_of(name),
        "name": name,
        "note": "",
        "path": path,
        "path_key": key,
        "created_at": now,
        "updated_at": now,
        "revision": 1,
    }
    bind.execute(sa.insert(place).values(values))
    found = bind.execute(sa.select(place.c.id).where(place.c.path_key == key)).scalar_one()
    return int(found)


def kind_of(name: str) -> str:
    """What a name says that the place is."""
    words = re.findall(r"[a-z]+", name.lower())
    for kind, meant in KINDS.items():
        if any(word.removesuffix("s") in meant or word in meant for word in words):
            return kind
    return "other"


def downgrade() -> None:
    for table in ("movement", "whereabouts", "place"):
        op.drop_table(table)
