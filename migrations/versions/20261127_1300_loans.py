"""Loans, what demonstrators ask for, and shelf checks.

Why: nobody knew from the archive who has a tape and since when, which tape a demonstrator waits
for, or whether what should lie in a box does.
Safe beside the release before: yes, it knows nothing of the tables; a request on an own list is
none of its rows.
Reversible: yes; loans, requests and checks are lost, and those on own lists with them.
"""

from collections.abc import Iterator

import sqlalchemy as sa
from alembic import op

revision = "loans"
down_revision = "invited_people"
branch_labels = None
depends_on = None

ONE_OF_TWO = "(tape_id IS NULL) <> (image_id IS NULL)"
ONE_OF_THREE = (
    "(CASE WHEN tape_id IS NULL THEN 0 ELSE 1 END) + (CASE WHEN image_id IS NULL THEN 0 ELSE 1 END)"
    " + (CASE WHEN request_id IS NULL THEN 0 ELSE 1 END) = 1"
)


def upgrade() -> None:
    make_requests()
    make_loans()
    make_checks()
    with op.batch_alter_table("work_item") as table:
        table.add_column(sa.Column("request_id", sa.Integer(), nullable=True))
        table.create_foreign_key(
            op.f("fk_work_item_request_id_tape_request"), "tape_request", ["request_id"], ["id"]
        )
        table.drop_constraint(op.f("ck_work_item_one_object"), type_="check")
        table.create_check_constraint(op.f("ck_work_item_one_object"), ONE_OF_THREE)
    op.create_index(
        "uq_work_item_request", "work_item", ["request_id", "queue", "person_id"], unique=True
    )


def make_requests() -> None:
    op.create_table(
        "tape_request",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tape_id", sa.Integer(), nullable=True),
        sa.Column("program_id", sa.Integer(), nullable=True),
        sa.Column("wanted_on", sa.Date(), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("status", sa.String(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("asked_by_id", sa.Integer(), nullable=True),
        sa.Column("settled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("settled_by_id", sa.Integer(), nullable=True),
        sa.Column("punching_id", sa.Integer(), nullable=True),
        sa.Column("handed_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tape_request")),
        sa.CheckConstraint(
            "(tape_id IS NULL) <> (program_id IS NULL)", name=op.f("ck_tape_request_one_object")
        ),
        *references(
            "tape_request",
            tape_id="tape",
            program_id="program",
            asked_by_id="person",
            settled_by_id="person",
            punching_id="punching",
            handed_id="tape",
        ),
    )
    index(
        "tape_request",
        "tape_id",
        "program_id",
        "asked_by_id",
        "settled_by_id",
        "punching_id",
        "handed_id",
    )
    some_index("ix_tape_request_open", "tape_request", ["wanted_on"], "status = 'open'")


def make_loans() -> None:
    people = ("proposed_by_id", "decided_by_id", "out_by_id", "back_by_id")
    reports = ("out_report_id", "back_report_id")
    op.create_table(
        "loan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tape_id", sa.Integer(), nullable=False),
        sa.Column("request_id", sa.Integer(), nullable=True),
        sa.Column("status", sa.String(), nullable=False),
        sa.Column("borrower", sa.String(), nullable=False),
        sa.Column("contact", sa.String(), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("terms", sa.String(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("proposed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("proposed_by_id", sa.Integer(), nullable=True),
        sa.Column("decided_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("decided_by_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("obstacles", sa.JSON(), nullable=False),
        sa.Column("out_on", sa.Date(), nullable=True),
        sa.Column("out_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("out_by_id", sa.Integer(), nullable=True),
        sa.Column("out_report_id", sa.Integer(), nullable=True),
        sa.Column("back_on", sa.Date(), nullable=True),
        sa.Column("back_by_id", sa.Integer(), nullable=True),
        sa.Column("back_report_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_loan")),
        sa.CheckConstraint(
            "(status IN ('out', 'back', 'not returned')) = (out_report_id IS NOT NULL)",
            name=op.f("ck_loan_report_out"),
        ),
        sa.CheckConstraint(
            "(status = 'back') = (back_report_id IS NOT NULL)", name=op.f("ck_loan_report_back")
        ),
        *references("loan", tape_id="tape", request_id="tape_request"),
        *references("loan", **dict.fromkeys(people, "person")),
        *references("loan", **dict.fromkeys(reports, "condition_report")),
    )
    index("loan", "tape_id", "request_id", *people, *reports)
    op.create_index(op.f("ix_loan_status_due_on"), "loan", ["status", "due_on"])
    some_index("uq_loan_out", "loan", ["tape_id"], "status = 'out'", unique=True)


def make_checks() -> None:
    op.create_table(
        "shelf_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("begun_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("begun_by_id", sa.Integer(), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_by_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shelf_check")),
        *references("shelf_check", place_id="place", begun_by_id="person", closed_by_id="person"),
    )
    index("shelf_check", "place_id", "begun_by_id", "closed_by_id")
    some_index("uq_shelf_check_open", "shelf_check", ["place_id"], "closed_at IS NULL", unique=True)
    op.create_table(
        "shelf_check_item",
        sa.Column("check_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tape_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("expected_id", sa.Integer(), nullable=True),
        sa.Column("expected_where", sa.String(), nullable=False),
        sa.Column("found_id", sa.Integer(), nullable=True),
        sa.Column("found_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("found_by_id", sa.Integer(), nullable=True),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("check_id", "tape_id", name=op.f("pk_shelf_check_item")),
        *references(
            "shelf_check_item",
            check_id="shelf_check",
            tape_id="tape",
            expected_id="place",
            found_id="place",
            found_by_id="person",
        ),
    )
    index("shelf_check_item", "tape_id", "expected_id", "found_id", "found_by_id")


def references(table: str, **columns: str) -> Iterator[sa.ForeignKeyConstraint]:
    for column, to in columns.items():
        yield sa.ForeignKeyConstraint(
            [column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}")
        )


def index(table: str, *columns: str) -> None:
    for column in columns:
        op.create_index(op.f(f"ix_{table}_{column}"), table, [column])


def some_index(
    name: str, table: str, columns: list[str], where: str, *, unique: bool = False
) -> None:
    """An index of those rows alone that answer to `where`."""
    some = sa.text(where)
    op.create_index(name, table, columns, unique=unique, sqlite_where=some, postgresql_where=some)


def downgrade() -> None:
    op.execute("DELETE FROM work_item WHERE request_id IS NOT NULL")
    op.drop_index("uq_work_item_request", "work_item")
    with op.batch_alter_table("work_item") as table:
        table.drop_constraint(op.f("ck_work_item_one_object"), type_="check")
        table.create_check_constraint(op.f("ck_work_item_one_object"), ONE_OF_TWO)
        table.drop_constraint(op.f("fk_work_item_request_id_tape_request"), type_="foreignkey")
        table.drop_column("request_id")
    for table_name in ("loan", "tape_request", "shelf_check_item", "shelf_check"):
        op.drop_table(table_name)
