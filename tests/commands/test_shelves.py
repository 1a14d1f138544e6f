"""`places`, `move` and `loans` at the command line."""

import json
from datetime import date, timedelta

import pytest

from server.catalog import loans
from server.catalog.loan_values import Approval, HandOver, NewLoan
from server.cli import main
from server.commands.console import DONE, REFUSED
from server.store.engine import make_engine
from tests import factories

SOON = date.today() + timedelta(days=9)  # noqa: DTZ011 - a day does not matter


@pytest.fixture
def shelf(archive):
    engine = make_engine(archive)
    with factories.acting(engine) as work:
        for number in ("1979.1", "1979.2"):
            factories.tape(work, accession_number=number, place="Loft, box 5")
        new = NewLoan(tape="1979.2", borrower="A school", purpose="x", due_on=SOON)
        loan = loans.propose(work, new).id
        loans.approve(work, loan, Approval())
        loans.give_out(work, loan, HandOver(state="good"))
    engine.dispose()


def test_places_are_listed_and_what_lies_in_one(shelf, said):
    assert main(["places"]) == DONE
    told = said().out
    assert "  box 5  box   1" in told
    assert told.endswith("page 1 of 1, 2 places\n")
    assert main(["places", "loft, BOX 5"]) == DONE
    assert "1979.1" in said().out
    assert main(["places", "--json"]) == DONE
    assert [json.loads(line)["path"] for line in said().out.splitlines()] == ["Loft", "Loft, box 5"]
    assert main(["places", "Loft", "--json"]) == DONE
    assert json.loads(said().out)["where"] == "Loft, box 5"
    assert main(["places", "Cellar"]) == REFUSED
    assert "no place Cellar" in said().err


def test_tapes_are_moved_and_said_to_be_missing(shelf, said):
    assert main(["move", "1979.1", "--to", "Punch table", "--why", "To be read"]) == DONE
    assert said().out == "1979.1: in Punch table\n"
    assert main(["move", "1979.1", "--missing"]) == DONE
    assert said().out == "1979.1: missing\n"
    assert main(["move", "1979.2", "--to", "Punch table"]) == REFUSED
    assert "lent" in said().err


def test_loans_are_listed(shelf, said):
    assert main(["loans"]) == DONE
    told = said().out
    assert "A school" in told
    assert f"out     {SOON}" in told
    assert main(["loans", "--json"]) == DONE
    assert json.loads(said().out)["days"] == 9
    assert main(["loans", "--overdue"]) == DONE
    assert said().out.endswith("page 1 of 1, 0 loans\n")
