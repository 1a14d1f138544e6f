"""The history of a record: what was done to it, with differences, and the button that undoes it."""

from dataclasses import dataclass
from typing import ClassVar, Final

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.catalog import condition
from server.catalog.events import ObjectKind
from server.catalog.held import image_id_of as image_of
from server.catalog.held import program_ever, tape_of, titles
from server.catalog.history import entries
from server.catalog.history.entries import History, HistoryQuery
from server.catalog.history.undoing import NewUndo, event_of, undo
from server.catalog.terms import ABOUT, of_name
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.visit import Visit, VisitDep

router = APIRouter()

HOMES: Final = {
    "tapes": ObjectKind.TAPE,
    "programs": ObjectKind.PROGRAM,
    "condition-reports": ObjectKind.REPORT,
    "images": ObjectKind.IMAGE,
    "vocabularies": ObjectKind.VOCABULARY,
}
"""What the address of a record begins with, by its kind."""

PATHS: Final = {kind: path for path, kind in HOMES.items()}


@dataclass(frozen=True, kw_only=True, slots=True)
class HistoryPage(PageContext):
    """A page of the history of one record, whose page is at `home`; None where it has none."""

    template: ClassVar[str] = "pages/history.html"
    home: str
    query: HistoryQuery
    told: History
    form: Filled

    @classmethod
    def of(
        cls, visit: Visit, work: Work, kind: ObjectKind, key: str, form: Filled | None = None
    ) -> "HistoryPage":
        """The page that the address of the visit asks for."""
        params = visit.request.query_params
        asked = {name: params[name] for name in ("type", "by", "page") if params.get(name)}
        query = HistoryQuery.of({**asked, "page_size": visit.settings.page_size})
        told = entries.of(work, kind, key, query)
        return cls(
            title=f"History of {_name_of(work, kind, key)}",
            home=f"/{PATHS[kind]}/{key}",
            query=query,
            told=told,
            form=form or Filled(),
        )


def _name_of(work: Work, kind: ObjectKind, key: str) -> str:
    match kind:
        case ObjectKind.TAPE:
            return f"tape {tape_of(work, key).accession_number}"
        case ObjectKind.PROGRAM:
            return program_ever(work, int(key)).title
        case ObjectKind.REPORT:
            report = condition.get(work, int(key))
            return f"the condition report on {report.tape} of {report.checked_on}"
        case ObjectKind.VOCABULARY:
            return f"the vocabulary: {ABOUT[of_name(key)][0]}"
    image_id = image_of(work, key)
    return titles(work, [image_id])[image_id].title


@router.get("/tapes/{key}/history")
@router.get("/programs/{key}/history")
@router.get("/condition-reports/{key}/history")
@router.get("/images/{key}/history")
@router.get("/vocabularies/{key}/history")
def show(visit: VisitDep, request: Request, key: str) -> Response:
    """The history of a record."""
    kind = HOMES[request.url.path.split("/")[1]]
    with visit.work() as work:
        work.actor.require(Role.VOLUNTEER)
        return visit.page(HistoryPage.of(visit, work, kind, key), block="results")


@router.post("/history/{event_id}/undo")
def undo_entry(visit: VisitDep, event_id: int, form: FormDep) -> Response:
    """Undo what an entry says was done."""

    def act(work: Work) -> Response:
        kind, key = _record(work, event_id, form)
        entry = undo(work, event_id, NewUndo.of(form.only(("note",))))
        if kind is ObjectKind.TAPE:
            key = event_of(work, entry).object_key
        return visit.redirect(f"/{PATHS[kind]}/{key}/history#e{entry}")

    return visit.submit(
        form,
        act,
        lambda work, filled: HistoryPage.of(visit, work, *_record(work, event_id, form), filled),
    )


def _record(work: Work, event_id: int, form: Form) -> tuple[ObjectKind, str]:
    """The record in whose history the button stood: the entry's own, or one that took it in."""
    work.actor.require(Role.VOLUNTEER)
    event = event_of(work, event_id)
    path, _, key = form.text("of").strip("/").partition("/")
    if path in HOMES and key:
        return HOMES[path], key
    return ObjectKind(event.object_kind), event.object_key
