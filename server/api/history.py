"""The histories of records: what was done, what that changed, and undoing it."""

from datetime import datetime
from http import HTTPStatus
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.caller import SIGNED_IN, CallerDep
from server.api.paging import PageOut, page_out
from server.api.problems import CHANGE, responses
from server.catalog.events import EventType, ObjectKind
from server.catalog.history import entries
from server.catalog.history.entries import HistoryQuery
from server.catalog.history.undoing import NewUndo, event_of, undo
from server.catalog.inputs import RequiredName
from server.inspection import Fields

router = APIRouter(prefix="/history", tags=["history"])

Kind = Literal["tape", "program", "condition-report", "image", "vocabulary"]
EntryId = Annotated[int, Path(description="Number of the entry.", ge=1, le=2**31 - 1)]


class RecordQuery(HistoryQuery):
    """Whose history: the kind of record, and its number, id, digest or name."""

    kind: Kind
    key: RequiredName


class EntryOut(Fields):
    """One entry of the log."""

    id: int = Field(description="Number of the entry.")
    type: EventType = Field(description="What was done, a PREMIS event type where there is one.")
    kind: ObjectKind = Field(description="To what kind of record.")
    key: str = Field(description="Its accession number, id, digest or name at that time.")
    at: datetime = Field(description="When, in UTC.")
    by: str = Field(description="Who did it, or which program in which release.")
    outcome: str = Field(description="What came of it.")
    detail: str = Field(description="The same in words.")
    before: dict[str, Any] = Field(description="What fields said before, by name.")
    after: dict[str, Any] = Field(description="What they said after, by name.")
    corrects: int | None = Field(description="The entry that this one undid, or null.")
    undone_by: int | None = Field(description="The entry that undid this one, or null.")
    part_of: int | None = Field(description="The entry that it came with, or null.")
    undoable: bool = Field(description="Whether what it says is of a kind that can be undone.")
    refusal: str = Field(description="Why it cannot be undone by you now; empty where it can.")

    @classmethod
    def of(cls, entry: entries.Entry) -> "EntryOut":
        """The shape of an entry."""
        return cls(**{name: getattr(entry, name) for name in cls.model_fields})


@router.get("", dependencies=SIGNED_IN, responses=responses("invalid", "not-found"))
def get_history(
    request: Request,
    response: Response,
    caller: CallerDep,
    query: Annotated[RecordQuery, Query()],
) -> PageOut[EntryOut]:
    """The history of a record, the newest entry first (volunteers)."""
    with caller.reading() as work:
        told = entries.of(work, ObjectKind(query.kind), query.key, query).page
        shown = tuple(EntryOut.of(each) for each in told.rows)
        page = type(told)(shown, told.total, told.page, told.page_size)  # type: ignore[arg-type]  # rows of another shape
        return page_out(request, response, page, EntryOut)


@router.post(
    "/{entry_id}/undo",
    status_code=HTTPStatus.CREATED,
    dependencies=SIGNED_IN,
    responses=responses(*CHANGE, "not-found", "conflict"),
)
def undo_entry(entry_id: EntryId, caller: CallerDep, new: NewUndo) -> EntryOut:
    """Undo what an entry says was done; gives the entry that says so.

    The role that the edit needed is needed. It is refused where something later stands on it.
    """
    with caller.work() as work:
        done = undo(work, entry_id, new)
        return EntryOut.of(entries.entry_of(work, event_of(work, done)))
