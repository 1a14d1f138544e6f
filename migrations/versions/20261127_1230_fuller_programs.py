"""Fuller programs, the links between them, and words that archivists keep.

Why: a title, a language and a machine do not say what a program needs, what it is called elsewhere
or how sure anybody is who wrote it; words that everybody spells in their own way find nothing. A
program that is merged into another, or was entered by mistake, keeps its row, so that its address
and its history last; so does a condition report that was taken back.
Safe beside the release before: yes, new columns have a default; it shows what is merged, though.
Reversible: yes; what is kept in the new columns and tables is lost, the event log stays.
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import Session

from server.store import search

revision = "fuller_programs"
down_revision = "places"
branch_labels = None
depends_on = None

LISTS = sa.JSON().with_variant(JSONB(), "postgresql")

FOLLOW = {
    "to_tape": """
UPDATE tape SET last_report = (
    SELECT max(checked_on) FROM condition_report
    WHERE condition_report.tape_id = tape.id {standing}
) WHERE {tapes};
""",
    "running": """
UPDATE tape SET reported_unfit = coalesce((
    SELECT CASE WHEN r.handling = 'do not run' OR r.state = 'unfit for a reader'
        OR r.machine_readable = false THEN true ELSE false END
    FROM condition_report r WHERE r.tape_id = tape.id {standing}
    ORDER BY r.checked_on DESC, r.id DESC LIMIT 1
), false), next_check = (
    SELECT r.next_check FROM condition_report r WHERE r.tape_id = tape.id {standing}
    ORDER BY r.checked_on DESC, r.id DESC LIMIT 1
) WHERE {tapes};
""",
}
"""What tapes repeat of their reports; none of those that were taken back."""

OCCASIONS = {
    "INSERT": "id = new.tape_id",
    "UPDATE": "id IN (old.tape_id, new.tape_id)",
    "DELETE": "id = old.tape_id",
}

COLOURS = ("white", "cream", "yellow", "pink", "green", "blue", "grey", "buff", "black", "silver")

WORDS = {
    "language": {
        "BASIC": "Lines with numbers, for an interpreter.",
        "FORTRAN": "",
        "ALGOL": "",
        "COBOL": "",
        "Pascal": "",
        "assembly language": "The source of machine code, one instruction a line.",
        "8080 machine code": "",
        "6502 machine code": "",
        "6800 machine code": "",
        "Z80 machine code": "",
        "12-bit machine code": "",
        "numerical control": "Words that move a machine tool (ISO 6983).",
        "data": "No program, but what one reads.",
    },
    "machine": {
        "8080 machine": "Any computer with an 8080 processor.",
        "6502 machine": "Any computer with a 6502 processor.",
        "6800 machine": "Any computer with a 6800 processor.",
        "Z80 machine": "Any computer with a Z80 processor.",
        "12-bit machine": "A computer that counts in words of 12 bits.",
        "machine tool": "A numerically controlled mill, lathe or drill.",
        "no machine": "Read by people, or by a teleprinter alone.",
    },
    "peripheral": {
        "teleprinter": "Prints, and mostly reads and punches tape as well.",
        "tape reader": "Faster than that of a teleprinter.",
        "tape punch": "Faster than that of a teleprinter.",
        "video terminal": "",
        "line printer": "",
        "plotter": "",
        "loudspeaker": "",
        "lamps on a port": "",
        "serial interface": "",
    },
    "medium": {
        "paper": "Plain, unless it is known to be otherwise.",
        "oiled paper": "Yellowed, translucent, smells of oil.",
        "parchment-like paper": "Hard and glassy.",
        "polyester": "A film; it cannot be torn by hand.",
        "foil laminate": "Metal between plastic, opaque and shiny.",
        "unknown": "Nobody has looked.",
    },
    "colour": dict.fromkeys(
        ("white", "cream", "yellow", "pink", "green", "blue", "grey", "buff", "black", "silver"), ""
    ),
}
"""The words to begin with (common practice, no source); those in use already come to them."""

IN_USE = {"language": ("program", "language"), "machine": ("program", "machine")}
IN_USE |= {"medium": ("tape", "medium"), "colour": ("tape", "colour")}


def on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    widen_programs()
    create_links()
    create_terms()
    keep_reports()
    with Session(op.get_bind()) as session:
        fill_terms(session)
        index_programs(session)
        session.flush()


def text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.String(), nullable=False, server_default=sa.text("''"))


def listed(name: str) -> sa.Column[object]:
    return sa.Column(name, LISTS, nullable=False, server_default="[]")


def widen_programs() -> None:
    for column in ("variant_titles", "peripherals", "attributions"):
        op.add_column("program", listed(column))
    for column in ("memory", "instructions", "faults"):
        op.add_column("program", text(column))
    # No reference to its own table: SQLite would write the table anew, and lose its triggers.
    op.add_column("program", sa.Column("merged_into_id", sa.Integer(), nullable=True))
    op.add_column("program", sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True))
    op.create_index(op.f("ix_program_merged_into_id"), "program", ["merged_into_id"])
    for column in ("instructions", "faults"):
        op.add_column("version", text(column))
    op.add_column(
        "version", sa.Column("revision", sa.Integer(), nullable=False, server_default="1")
    )
    op.add_column("version", sa.Column("updated_at", sa.DateTime(timezone=True), nullable=True))


def create_links() -> None:
    op.create_table(
        "program_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("program_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("other_id", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_program_link")),
        sa.UniqueConstraint(
            "program_id", "kind", "other_id", name=op.f("uq_program_link_program_id_kind_other_id")
        ),
        sa.CheckConstraint("program_id <> other_id", name=op.f("ck_program_link_two_programs")),
        sa.ForeignKeyConstraint(
            ["program_id"], ["program.id"], name=op.f("fk_program_link_program_id_program")
        ),
        sa.ForeignKeyConstraint(
            ["other_id"], ["program.id"], name=op.f("fk_program_link_other_id_program")
        ),
        sa.ForeignKeyConstraint(
            ["made_by_id"], ["person.id"], name=op.f("fk_program_link_made_by_id_person")
        ),
    )
    op.create_index(op.f("ix_program_link_other_id"), "program_link", ["other_id"])
    op.create_index(op.f("ix_program_link_made_by_id"), "program_link", ["made_by_id"])


def create_terms() -> None:
    op.create_table(
        "term",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("vocabulary", sa.String(), nullable=False),
        sa.Column("word", sa.String(), nullable=False),
        sa.Column("folded", sa.String(), nullable=False),
        sa.Column("meaning", sa.String(), nullable=False),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("merged_into_id", sa.Integer(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_term")),
        sa.UniqueConstraint("vocabulary", "folded", name=op.f("uq_term_vocabulary_folded")),
        sa.ForeignKeyConstraint(
            ["merged_into_id"], ["term.id"], name=op.f("fk_term_merged_into_id_term")
        ),
    )
    op.create_index(op.f("ix_term_merged_into_id"), "term", ["merged_into_id"])


def keep_reports() -> None:
    op.add_column(
        "condition_report",
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
    )
    set_triggers("AND withdrawn_at IS NULL")


def set_triggers(standing: str) -> None:
    """Let tapes follow the newest report that is `standing`, or the newest of all."""
    for change, tapes in OCCASIONS.items():
        for what, rule in FOLLOW.items():
            name = f"tr_condition_report_{what}_on_{change.lower()}"
            set_trigger(name, change, rule.format(standing=standing, tapes=tapes))


def set_trigger(name: str, change: str, body: str) -> None:
    if on_sqlite():
        op.execute(f"DROP TRIGGER {name}")
        op.execute(f"CREATE TRIGGER {name} AFTER {change} ON condition_report BEGIN {body} END")
    else:
        op.execute(
            f"CREATE OR REPLACE FUNCTION feedhole_{name}() RETURNS trigger LANGUAGE plpgsql AS"
            f" $$ BEGIN {body} RETURN NULL; END $$"
        )


def fill_terms(session: Session) -> None:
    words = {name: dict(meant) for name, meant in WORDS.items()}
    for name, (table, column) in IN_USE.items():
        held = f"SELECT DISTINCT {column} FROM {table} WHERE {column} <> ''"  # noqa: S608 - ours
        known = {word.lower() for word in words[name]}
        for (word,) in session.execute(sa.text(held)).all():
            if word.lower() not in known:
                words[name][word] = ""
                known.add(word.lower())
    term = sa.table(
        "term", *map(sa.column, ("vocabulary", "word", "folded", "meaning", "revision")),
        sa.column("created_at", sa.DateTime(timezone=True)),
        sa.column("updated_at", sa.DateTime(timezone=True)),
    )  # fmt: skip
    now = sa.func.current_timestamp()
    for name, meant in words.items():
        for word, meaning in meant.items():
            session.execute(
                sa.insert(term).values(
                    vocabulary=name, word=word, folded=word.lower(), meaning=meaning, revision=1,
                    created_at=now, updated_at=now,
                )
            )  # fmt: skip


def index_programs(session: Session) -> None:
    """Make versions searchable, and what each program needs, as saving it would."""
    told: dict[int, list[str]] = {}
    needs = "SELECT id, language, machine FROM program ORDER BY id"
    for program, *words in session.execute(sa.text(needs)).all():
        told[program] = [f"needs: {', '.join(filter(None, words))}"] if any(words) else []
    versions = "SELECT program_id, label, note FROM version ORDER BY id"
    for program, label, note in session.execute(sa.text(versions)).all():
        told[program].append(f"version {label}: {note}" if note else f"version {label}")
    for program, lines in told.items():
        search.index_record(session, "program", program, {"details": "\n".join(lines)})


def downgrade() -> None:
    with Session(op.get_bind()) as session:
        programs = session.execute(sa.text("SELECT id FROM program")).scalars().all()
        for program in programs:
            search.index_record(session, "program", program, {"details": ""})
        session.flush()
    set_triggers("")
    op.drop_column("condition_report", "withdrawn_at")
    op.drop_table("term")
    op.drop_table("program_link")
    for column in ("updated_at", "revision", "faults", "instructions"):
        op.drop_column("version", column)
    op.drop_index(op.f("ix_program_merged_into_id"), "program")
    op.drop_column("program", "withdrawn_at")
    op.drop_column("program", "merged_into_id")
    for column in ("faults", "instructions", "memory"):
        op.drop_column("program", column)
    for column in ("attributions", "peripherals", "variant_titles"):
        op.drop_column("program", column)
