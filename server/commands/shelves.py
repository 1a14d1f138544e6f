"""`places`, `move` and `loans`: where tapes are, and who has them."""

from argparse import Namespace

from server.api.loans import LoanRowOut
from server.api.places import LyingOut, PlaceRowOut
from server.catalog import loan_records, lying, movements, place_records
from server.catalog.errors import NotFound
from server.catalog.loan_values import LoanQuery, LoanRow
from server.catalog.lying import Lying
from server.catalog.place_values import Missing, Move, PlaceQuery, PlaceRow
from server.catalog.tape_values import Page, PageQuery
from server.catalog.work import Work
from server.commands.archive import plainly, working
from server.commands.console import DONE, give, say, table


@plainly
def places(args: Namespace) -> int:
    """List a page of the places, or of the tapes in one of them."""
    with working(writes=False) as work:
        if args.place:
            return _tell_tapes(args, lying.within_place(work, _at(work, args.place), _page(args)))
        page = place_records.page(work, PlaceQuery.of({"page": args.page}))
    if args.json:
        for row in page.rows:
            give(PlaceRowOut.model_validate(row))
        return DONE
    say(*table(("place", "kind", "tapes", "note"), map(_place_cells, page.rows)))
    say(f"page {page.page} of {page.pages}, {page.total:,} place{'s' * (page.total != 1)}")
    return DONE


@plainly
def move(args: Namespace) -> int:
    """Put tapes into a place, or say that they are missing."""
    with working() as work:
        if args.missing:
            movements.mark_missing(work, Missing.of({"tapes": args.tapes, "why": args.why}))
        else:
            given = {"tapes": args.tapes, "written": args.to, "why": args.why}
            movements.put(work, Move.of({**given, "usual": args.usual}))
    where = "missing" if args.missing else f"in {args.to}"
    say(*(f"{number}: {where}" for number in dict.fromkeys(args.tapes)))
    return DONE


@plainly
def loans(args: Namespace) -> int:
    """List a page of the loans."""
    query = LoanQuery.of({"page": args.page, "overdue": args.overdue})
    with working(writes=False) as work:
        page = loan_records.page(work, query)
    if args.json:
        for row in page.rows:
            give(LoanRowOut.model_validate(row))
        return DONE
    say(*table(("loan", "tape", "to whom", "status", "due"), map(_loan_cells, page.rows)))
    say(f"page {page.page} of {page.pages}, {page.total:,} loan{'s' * (page.total != 1)}")
    return DONE


def _at(work: Work, text: str) -> int:
    found = place_records.at_path(work, text)
    if found is None:
        raise NotFound(
            f"There is no place {text[:60]}.", where=text[:60], mend="See: python -m server places"
        )
    return found


def _page(args: Namespace) -> PageQuery:
    return PageQuery.of({"page": args.page})


def _tell_tapes(args: Namespace, page: Page[Lying]) -> int:
    if args.json:
        for row in page.rows:
            give(LyingOut.model_validate(row))
        return DONE
    rows = ((row.accession_number, row.title, row.where, row.condition) for row in page.rows)
    say(*table(("tape", "title", "where", "condition"), rows))
    say(f"page {page.page} of {page.pages}, {page.total:,} tape{'s' * (page.total != 1)}")
    return DONE


def _place_cells(row: PlaceRow) -> tuple[str, ...]:
    return f"{'  ' * row.depth}{row.name}", row.kind, f"{row.within:,}", row.note


def _loan_cells(row: LoanRow) -> tuple[str, ...]:
    status = f"overdue by {-row.days} days" if row.overdue and row.days else str(row.status)
    return str(row.id), f"{row.tape} {row.tape_title}", row.borrower, status, str(row.due_on)
