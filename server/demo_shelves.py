"""What the invented club did with its shelves: what it moved, checked, lent, and was asked for.

All of it was done some days before the demonstration is loaded, so that something is always due.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

from server.catalog import loans, movements, place_records, places, shelf_checks, tape_requests
from server.catalog.loan_values import Approval, HandOver, NewLoan
from server.catalog.place_values import Move, PlaceChange, PlaceMove
from server.catalog.request_values import NewRequest
from server.catalog.shelf_check_values import Closing, Found
from server.catalog.work import Work

Entry = dict[str, Any]
Acting = Callable[[str], Work]


def load(acting: Acting, library: Entry, program_ids: Mapping[str, int]) -> None:
    """Do what the library's file says, each on behalf of whoever did it."""
    for entry in library["place"]:
        change = PlaceChange.of({name: entry[name] for name in ("kind", "note") if name in entry})
        work = acting(entry["by"])
        places.change(work, _at(work, entry["path"]), change)
    for entry in library["shelf_check"]:
        _check(_then(acting, entry), entry)
    for entry in library["move"]:
        _move(_then(acting, entry), entry)
    for entry in library["loan"]:
        _lend(acting, entry)
    for entry in library["request"]:
        _ask(acting(entry["by"]), entry, program_ids)


def _then(acting: Acting, entry: Entry, who: str = "by") -> Work:
    """Whoever did it, on the day on which it was done."""
    work = acting(entry[who])
    return replace(work, now=work.now - timedelta(days=entry["days_ago"]))


def _at(work: Work, path: str) -> int:
    return int(place_records.at_path(work, path) or 0)


def _check(work: Work, entry: Entry) -> None:
    check = shelf_checks.begin(work, _at(work, entry["place"]))
    seen = [item.tape for item in check.items if item.tape not in entry["not_seen"]]
    shelf_checks.find(work, check.id, Found(tapes=tuple(seen[: entry.get("first")])))
    for tape, path in entry.get("elsewhere", {}).items():
        shelf_checks.find(work, check.id, Found(tapes=(tape,), place=_at(work, path)))
    if "note" in entry:
        closing = Closing(mark_missing=True, move_found=True, note=entry["note"])
        shelf_checks.close(work, check.id, closing)


def _move(work: Work, entry: Entry) -> None:
    if "place" in entry:
        parent = _at(work, entry["to"])
        move = PlaceMove(parent=parent, why=entry["why"])
        movements.move_place(work, _at(work, entry["place"]), move)
    else:
        movements.put(work, Move(tapes=entry["tapes"], written=entry["to"], why=entry["why"]))


def _lend(acting: Acting, entry: Entry) -> None:
    work = _then(acting, entry)
    given = {name: entry[name] for name in ("tape", "borrower", "contact", "purpose", "terms")}
    due_on = work.now.date() + timedelta(days=entry["days"])
    loan = loans.propose(work, NewLoan.of({**given, "due_on": due_on}))
    if "approved_by" in entry:
        loans.approve(_then(acting, entry, "approved_by"), loan.id, Approval())
        loans.give_out(work, loan.id, HandOver.of(entry["seen"]))


def _ask(work: Work, entry: Entry, program_ids: Mapping[str, int]) -> None:
    given: Entry = {name: entry[name] for name in ("tape", "purpose") if name in entry}
    if "program" in entry:
        given["program"] = program_ids[entry["program"]]
    wanted_on = work.now.date() + timedelta(days=entry["in_days"])
    tape_requests.ask(work, NewRequest.of({**given, "wanted_on": wanted_on}))
