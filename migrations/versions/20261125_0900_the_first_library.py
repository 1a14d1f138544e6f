"""The first library: tapes, images, programs, and what is known about them.

Why: there was no library before.
Safe beside the release before: there is none.
Reversible: yes; all that the library holds is lost.
"""

import sqlalchemy as sa
from alembic import op

revision = "first_library"
down_revision = "people"
branch_labels = None
depends_on = None

TABLES = (
    "image",
    "program",
    "record_text",
    "decoding",
    "event",
    "fingerprint",
    "kinship",
    "listing_text",
    "tape",
    "verification",
    "version",
    "condition_report",
    "reading",
)

BYTEWISE = sa.String().with_variant(sa.String(collation="C"), "postgresql")


def upgrade() -> None:
    create_images()
    create_collection()
    create_judgements()
    create_texts()


def downgrade() -> None:
    for table in reversed(TABLES):
        op.drop_table(table)


def create_images() -> None:
    op.create_table(
        "image",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("levels", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("frames", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_image")),
        sa.CheckConstraint("levels BETWEEN 5 AND 8", name=op.f("ck_image_levels")),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_image_sha256")),
        sa.CheckConstraint("size > 0", name=op.f("ck_image_size")),
        sa.UniqueConstraint("sha256", name=op.f("uq_image_sha256")),
    )
    op.create_table(
        "decoding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("image_id", sa.Integer(), nullable=False),
        sa.Column("decoder_release", sa.String(), nullable=False),
        sa.Column("superseded", sa.Boolean(), nullable=False),
        sa.Column("decoded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("format", sa.String(), nullable=False),
        sa.Column("dialect", sa.String(), nullable=True),
        sa.Column("language", sa.String(), nullable=True),
        sa.Column("code", sa.String(), nullable=True),
        sa.Column("parity", sa.String(), nullable=True),
        sa.Column("orientation", sa.String(), nullable=False),
        sa.Column("leader_frames", sa.Integer(), nullable=False),
        sa.Column("trailer_frames", sa.Integer(), nullable=False),
        sa.Column("data_start", sa.Integer(), nullable=False),
        sa.Column("data_stop", sa.Integer(), nullable=False),
        sa.Column("check_status", sa.String(), nullable=False),
        sa.Column("entry_address", sa.BigInteger(), nullable=True),
        sa.Column("content_sha256", sa.String(), nullable=False),
        sa.Column("loader", sa.String(), nullable=False),
        sa.Column("lettering", sa.String(), nullable=True),
        sa.Column("line_count", sa.Integer(), nullable=False),
        sa.Column("findings", sa.JSON(), nullable=False),
        sa.Column("identified", sa.JSON(), nullable=False),
        sa.Column("load_ranges", sa.JSON(), nullable=False),
        sa.Column("listing", sa.LargeBinary(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_decoding")),
        sa.ForeignKeyConstraint(
            ["image_id"], ["image.id"], name=op.f("fk_decoding_image_id_image")
        ),
        sa.UniqueConstraint(
            "image_id", "decoder_release", name=op.f("uq_decoding_image_id_decoder_release")
        ),
    )
    op.create_index(op.f("ix_decoding_check_status"), "decoding", ["check_status"])
    op.create_index(op.f("ix_decoding_content_sha256"), "decoding", ["content_sha256"])
    op.create_index(op.f("ix_decoding_format_check_status"), "decoding", ["format", "check_status"])
    op.create_index(op.f("ix_decoding_language"), "decoding", ["language"])
    op.create_index(op.f("ix_decoding_loader"), "decoding", ["loader"])
    op.create_index(
        op.f("uq_decoding_current"),
        "decoding",
        ["image_id"],
        unique=True,
        sqlite_where=sa.text("NOT superseded"),
        postgresql_where=sa.text("NOT superseded"),
    )


def create_collection() -> None:
    op.create_table(
        "program",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("language", sa.String(), nullable=False),
        sa.Column("machine", sa.String(), nullable=False),
        sa.Column("description", sa.String(), nullable=False),
        sa.Column("rights", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_program")),
    )
    op.create_index(op.f("ix_program_language"), "program", ["language"])
    op.create_index(op.f("ix_program_machine"), "program", ["machine"])
    op.create_index(op.f("ix_program_title"), "program", ["title"])
    op.create_table(
        "tape",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("accession_number", sa.String(), nullable=False),
        sa.Column("accession_key", BYTEWISE, nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("program_id", sa.Integer(), nullable=True),
        sa.Column("origin", sa.String(), nullable=False),
        sa.Column("medium", sa.String(), nullable=False),
        sa.Column("levels", sa.Integer(), nullable=True),
        sa.Column("condition", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("loader_requirement", sa.String(), nullable=False),
        sa.Column("made", sa.String(), nullable=True),
        sa.Column("notes", sa.String(), nullable=False),
        sa.Column("hazard", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by_id", sa.Integer(), nullable=True),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tape")),
        sa.CheckConstraint("levels BETWEEN 5 AND 8", name=op.f("ck_tape_levels")),
        sa.ForeignKeyConstraint(
            ["created_by_id"], ["person.id"], name=op.f("fk_tape_created_by_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["program_id"], ["program.id"], name=op.f("fk_tape_program_id_program")
        ),
        sa.UniqueConstraint("accession_number", name=op.f("uq_tape_accession_number")),
    )
    op.create_index(op.f("ix_tape_accession_key"), "tape", ["accession_key"])
    op.create_index(op.f("ix_tape_condition"), "tape", ["condition"])
    op.create_index(op.f("ix_tape_created_at"), "tape", ["created_at"])
    op.create_index(op.f("ix_tape_created_by_id"), "tape", ["created_by_id"])
    op.create_index(op.f("ix_tape_hazard"), "tape", ["hazard"])
    op.create_index(op.f("ix_tape_medium"), "tape", ["medium"])
    op.create_index(op.f("ix_tape_place"), "tape", ["place"])
    op.create_index(op.f("ix_tape_program_id"), "tape", ["program_id"])
    op.create_index(op.f("ix_tape_title"), "tape", ["title"])
    op.create_table(
        "version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("program_id", sa.Integer(), nullable=False),
        sa.Column("image_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_version")),
        sa.ForeignKeyConstraint(
            ["created_by_id"], ["person.id"], name=op.f("fk_version_created_by_id_person")
        ),
        sa.ForeignKeyConstraint(["image_id"], ["image.id"], name=op.f("fk_version_image_id_image")),
        sa.ForeignKeyConstraint(
            ["program_id"], ["program.id"], name=op.f("fk_version_program_id_program")
        ),
        sa.UniqueConstraint("program_id", "image_id", name=op.f("uq_version_program_id_image_id")),
        sa.UniqueConstraint("program_id", "label", name=op.f("uq_version_program_id_label")),
    )
    op.create_index(op.f("ix_version_created_by_id"), "version", ["created_by_id"])
    op.create_index(op.f("ix_version_image_id"), "version", ["image_id"])
    op.create_table(
        "condition_report",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tape_id", sa.Integer(), nullable=False),
        sa.Column("checked_on", sa.Date(), nullable=False),
        sa.Column("checked_by_id", sa.Integer(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("method", sa.String(), nullable=False),
        sa.Column("defects", sa.JSON(), nullable=False),
        sa.Column("machine_readable", sa.Boolean(), nullable=True),
        sa.Column("advice", sa.String(), nullable=False),
        sa.Column("hazard", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_condition_report")),
        sa.ForeignKeyConstraint(
            ["checked_by_id"], ["person.id"], name=op.f("fk_condition_report_checked_by_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["tape_id"], ["tape.id"], name=op.f("fk_condition_report_tape_id_tape")
        ),
    )
    op.create_index(
        op.f("ix_condition_report_checked_by_id"), "condition_report", ["checked_by_id"]
    )
    op.create_index(op.f("ix_condition_report_checked_on"), "condition_report", ["checked_on"])
    op.create_index(
        op.f("ix_condition_report_tape_id_checked_on"),
        "condition_report",
        ["tape_id", "checked_on"],
    )
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("image_id", sa.Integer(), nullable=False),
        sa.Column("tape_id", sa.Integer(), nullable=True),
        sa.Column("file_name", sa.String(), nullable=False),
        sa.Column("read_on", sa.Date(), nullable=True),
        sa.Column("reader", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("accepted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("accepted_by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
        sa.ForeignKeyConstraint(
            ["accepted_by_id"], ["person.id"], name=op.f("fk_reading_accepted_by_id_person")
        ),
        sa.ForeignKeyConstraint(["image_id"], ["image.id"], name=op.f("fk_reading_image_id_image")),
        sa.ForeignKeyConstraint(["tape_id"], ["tape.id"], name=op.f("fk_reading_tape_id_tape")),
    )
    op.create_index(op.f("ix_reading_accepted_by_id"), "reading", ["accepted_by_id"])
    op.create_index(op.f("ix_reading_image_id"), "reading", ["image_id"])
    op.create_index(op.f("ix_reading_tape_id"), "reading", ["tape_id"])


def create_judgements() -> None:
    op.create_table(
        "event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("type", sa.String(), nullable=False),
        sa.Column("occurred_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("object_kind", sa.String(), nullable=False),
        sa.Column("object_key", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("agent", sa.String(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.Column("detail", sa.String(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_event")),
        sa.ForeignKeyConstraint(
            ["corrects_id"], ["event.id"], name=op.f("fk_event_corrects_id_event")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_event_person_id_person")
        ),
    )
    op.create_index(op.f("ix_event_corrects_id"), "event", ["corrects_id"])
    op.create_index(op.f("ix_event_object_kind_object_key"), "event", ["object_kind", "object_key"])
    op.create_index(op.f("ix_event_occurred_at"), "event", ["occurred_at"])
    op.create_index(op.f("ix_event_person_id"), "event", ["person_id"])
    op.create_index(op.f("ix_event_type"), "event", ["type"])
    op.create_table(
        "fingerprint",
        sa.Column("hash", sa.BigInteger(), nullable=False, autoincrement=False),
        sa.Column("image_id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("hash", "image_id", name=op.f("pk_fingerprint")),
        sa.ForeignKeyConstraint(
            ["image_id"], ["image.id"], name=op.f("fk_fingerprint_image_id_image")
        ),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_fingerprint_image_id"), "fingerprint", ["image_id"])
    op.create_table(
        "kinship",
        sa.Column("image_a_id", sa.Integer(), nullable=False),
        sa.Column("image_b_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("similarity", sa.Float(), nullable=False),
        sa.Column("distance", sa.Integer(), nullable=False),
        sa.Column("added", sa.Integer(), nullable=False),
        sa.Column("removed", sa.Integer(), nullable=False),
        sa.Column("changed", sa.Integer(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("image_a_id", "image_b_id", name=op.f("pk_kinship")),
        sa.CheckConstraint("image_a_id < image_b_id", name=op.f("ck_kinship_order")),
        sa.ForeignKeyConstraint(
            ["image_a_id"], ["image.id"], name=op.f("fk_kinship_image_a_id_image")
        ),
        sa.ForeignKeyConstraint(
            ["image_b_id"], ["image.id"], name=op.f("fk_kinship_image_b_id_image")
        ),
    )
    op.create_index(op.f("ix_kinship_image_b_id"), "kinship", ["image_b_id"])
    op.create_table(
        "verification",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("image_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("evidence", sa.String(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_verification")),
        sa.ForeignKeyConstraint(
            ["image_id"], ["image.id"], name=op.f("fk_verification_image_id_image")
        ),
        sa.ForeignKeyConstraint(
            ["made_by_id"], ["person.id"], name=op.f("fk_verification_made_by_id_person")
        ),
    )
    op.create_index(op.f("ix_verification_image_id"), "verification", ["image_id"])
    op.create_index(op.f("ix_verification_kind"), "verification", ["kind"])
    op.create_index(op.f("ix_verification_made_by_id"), "verification", ["made_by_id"])


def create_texts() -> None:
    op.create_table(
        "record_text",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("object_id", sa.Integer(), nullable=False),
        sa.Column("field", sa.String(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_record_text")),
        sa.UniqueConstraint(
            "kind", "object_id", "field", name=op.f("uq_record_text_kind_object_id_field")
        ),
    )
    op.create_index(
        op.f("ix_record_text_rank_kind_object_id"), "record_text", ["rank", "kind", "object_id"]
    )
    op.create_table(
        "listing_text",
        sa.Column("image_id", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("image_id", name=op.f("pk_listing_text")),
        sa.ForeignKeyConstraint(
            ["image_id"], ["image.id"], name=op.f("fk_listing_text_image_id_image")
        ),
    )
