"""Queues of work: how much there is to do, one queue with its bulk actions, and one's own list."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, ClassVar, Final

from fastapi import APIRouter, Query
from starlette.responses import Response

from server.catalog import bulk_actions, own_list
from server.catalog.bulk_actions import Action, Doing, Summary
from server.catalog.errors import Invalid
from server.catalog.own_list import Part
from server.catalog.queues import held_in, listable, queue_of
from server.catalog.queues.values import Told
from server.catalog.tape_values import Page
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import FormDep
from server.web.queue_rows import Row, rows_of
from server.web.visit import Visit, VisitDep

router = APIRouter()

PageNumber = Annotated[int, Query(ge=1, le=1_000_000)]

PRINT: Final = "print"
"""What a form says that asks for a list on paper; it changes nothing."""

SEPARATOR: Final = " "
"""Between the name of a queue and the key of an entry, in the ticks of one's own list."""


@dataclass(frozen=True, kw_only=True, slots=True)
class QueuesPage(PageContext):
    """All queues with how much each holds, and how much is on one's own list."""

    template: ClassVar[str] = "pages/queues.html"
    title: str = "Work queues"
    queues: tuple[Told, ...]
    own: int


@dataclass(frozen=True, kw_only=True, slots=True)
class QueuePage(PageContext):
    """A page of one queue; `summary` says what became of a bulk action just sent."""

    template: ClassVar[str] = "pages/queue.html"
    queue: Told
    found: Page[Row]
    actions: tuple[Action, ...]
    form: Filled
    summary: Summary | None = None

    @classmethod
    def of(
        cls,
        visit: Visit,
        work: Work,
        name: str,
        page: int,
        form: Filled | None = None,
        summary: Summary | None = None,
    ) -> "QueuePage":
        """The page as the queue stands."""
        queue, years = queue_of(name), visit.settings.report_years
        told = held_in.told(work, queue, years)
        found = held_in.page(work, queue, years, page, visit.settings.page_size)
        return cls(
            title=told.title,
            queue=told,
            found=Page(rows_of(found.rows), found.total, found.page, found.page_size),
            actions=bulk_actions.fitting(queue),
            form=form or Filled(),
            summary=summary,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class OwnListPage(PageContext):
    """What the person who is signed in took on, by queue."""

    template: ClassVar[str] = "pages/own_list.html"
    title: str = "Your list"
    parts: tuple[Part, ...]
    rows: Mapping[str, tuple[Row, ...]]
    form: Filled

    @classmethod
    def of(cls, visit: Visit, work: Work, form: Filled | None = None) -> "OwnListPage":
        """The list as it stands."""
        parts = own_list.mine(work, visit.settings.report_years)
        rows = {part.queue.name: rows_of(part.entries) for part in parts}
        return cls(parts=parts, rows=MappingProxyType(rows), form=form or Filled())


@dataclass(frozen=True, kw_only=True, slots=True)
class WorkListPage(PageContext):
    """What was ticked, to be printed and taken to the shelf."""

    template: ClassVar[str] = "pages/work_list.html"
    parts: tuple[tuple[Told, tuple[Row, ...]], ...]
    back: str


@router.get("/queues")
def browse(visit: VisitDep) -> Response:
    """All queues."""
    years = visit.settings.report_years
    with visit.work() as work:
        own = own_list.count(work, years)
        return visit.page(QueuesPage(queues=held_in.counts(work, years), own=own))


@router.get("/queues/mine")
def show_mine(visit: VisitDep) -> Response:
    """One's own list."""
    with visit.work() as work:
        return visit.page(OwnListPage.of(visit, work))


@router.post("/queues/mine")
def change_mine(visit: VisitDep, form: FormDep) -> Response:
    """Take things off one's own list, or print those that are ticked."""

    def act(work: Work) -> Response:
        work.actor.require(Role.VOLUNTEER)
        ticks = [tick.partition(SEPARATOR) for tick in bulk_actions.chosen(form.texts("tick"))]
        if form.text("do") == PRINT:
            wanted: dict[str, list[str]] = {}
            for name, _, key in ticks:
                wanted.setdefault(name, []).append(key)
            return visit.page(_work_list(visit, work, wanted, "/queues/mine"))
        for name, _, key in ticks:
            own_list.take_off(work, listable(name), key)
        return visit.redirect("/queues/mine")

    return visit.submit(form, act, lambda work, filled: OwnListPage.of(visit, work, filled))


@router.get("/queues/{name}")
def show(visit: VisitDep, name: str, page: PageNumber = 1) -> Response:
    """One queue."""
    with visit.work() as work:
        return visit.page(QueuePage.of(visit, work, name, page), block="results")


@router.post("/queues/{name}")
def act_on_ticked(visit: VisitDep, name: str, form: FormDep, page: PageNumber = 1) -> Response:
    """Do something with the entries that are ticked, all in one transaction."""

    def act(work: Work) -> Response:
        queue, ticks = queue_of(name), form.texts("tick")
        if form.text("do") == PRINT:
            wanted = {name: list(bulk_actions.chosen(ticks))}
            return visit.page(_work_list(visit, work, wanted, f"/queues/{name}"))
        doing = Doing(queue, form.text("place"), visit.settings.report_years)
        summary = bulk_actions.carry_out(work, form.text("do"), ticks, doing)
        return visit.page(QueuePage.of(visit, work, name, page, summary=summary))

    return visit.submit(
        form, act, lambda work, filled: QueuePage.of(visit, work, name, page, filled)
    )


@router.post("/queues/{name}/mine")
def change_one(visit: VisitDep, name: str, form: FormDep) -> Response:
    """Put one thing on one's own list, or take it off, from its own page."""
    with visit.change(form) as work:
        queue, key = listable(name), form.text("key")
        if form.text("do") == "take-off":
            own_list.take_off(work, queue, key)
        else:
            own_list.put_on(work, queue, key, visit.settings.report_years)
        return visit.redirect(form.text("back"))


def _work_list(
    visit: Visit, work: Work, wanted: Mapping[str, list[str]], back: str
) -> WorkListPage:
    """What was ticked, by queue; what a queue holds no more needs nobody.

    Raises:
        Invalid: nothing of it is left to do.
    """
    years = visit.settings.report_years
    parts = []
    for name, keys in wanted.items():
        queue = listable(name)
        found = held_in.some(work, queue, years, keys)
        if found:
            parts.append((held_in.told(work, queue, years), rows_of(found)))
    if not parts:
        raise Invalid(
            "Nothing of what is ticked is left to do.",
            where="tick",
            mend="Look at the list as it is now.",
        )
    return WorkListPage(title="Work list", parts=tuple(parts), back=back)
