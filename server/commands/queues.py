"""`queues`: what needs somebody's help."""

from argparse import Namespace

from server.api.queues import EntryOut, QueueOut
from server.catalog.queues import held_in, queue_of
from server.catalog.queues.values import Entry
from server.commands.archive import plainly, working
from server.commands.console import DONE, give, say, table
from server.settings import Settings


def run(args: Namespace) -> int:
    """List the queues with how much each holds, or what one of them holds."""
    return of_one(args) if args.name else of_all(args)


@plainly
def of_all(args: Namespace) -> int:
    """List the queues."""
    with working(writes=False) as work:
        queues = held_in.counts(work, Settings().report_years)
    if args.json:
        for each in queues:
            give(QueueOut.model_validate(each))
        return DONE
    rows = ((each.name, each.shown, each.role, each.title) for each in queues)
    say(*table(("queue", "holds", "for", "what it is"), rows))
    return DONE


@plainly
def of_one(args: Namespace) -> int:
    """List a page of what a queue holds."""
    with working(writes=False) as work:
        queue, years = queue_of(args.name), Settings().report_years
        page = held_in.page(work, queue, years, max(1, args.page))
        told = held_in.told(work, queue, years)
    if args.json:
        for entry in page.rows:
            give(EntryOut.model_validate(entry))
        return DONE
    if page.total:
        say(*table(("entry", "title", "place or kinship"), map(_cells, page.rows)))
    else:
        say(told.well_done)
    say(f"page {page.page} of {page.pages}, {page.total:,} {told.about}{'s' * (page.total != 1)}")
    return DONE


def _cells(entry: Entry) -> tuple[str, ...]:
    title = f"{entry.title} and {entry.other_title}" if entry.other_title else entry.title
    return entry.key, title, entry.place or entry.detail
