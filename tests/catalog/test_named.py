"""Who is named to whom: a name stands where visitors read it only if its bearer agreed."""

from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import Engine

import server.catalog
from server.catalog import accounts, condition, events, named, search, tapes
from server.catalog.condition_values import NewReport
from server.catalog.errors import NotSignedIn
from server.catalog.events import ObjectKind
from server.catalog.search_values import SearchQuery
from server.catalog.tape_values import NewTape
from server.catalog.vocabulary import Condition
from server.catalog.work import COMMAND, VISITOR, Actor, Role, unit_of_work
from tests import factories

pytestmark = pytest.mark.usefixtures("quick_hashes")


@pytest.fixture
def ada(engine: Engine) -> Actor:
    """Somebody who read a tape and reported on it, and did not agree to be named."""
    ada = factories.person(engine, Role.VOLUNTEER, "Ada Quill")
    with unit_of_work(engine, ada) as work:
        tapes.create(work, NewTape(title="Tide table", accession_number="1978.1"))
        factories.upload(work, factories.text_tape(), tape="1978.1")
        condition.log(
            work, NewReport(tape="1978.1", checked_on=date(2026, 1, 5), state=Condition.GOOD)
        )
    return ada


def told(engine: Engine, actor: Actor) -> set[str]:
    """All names that the tape's records tell to somebody."""
    with unit_of_work(engine, actor, writes=False) as work:
        (report,) = condition.page(work, "1978.1").rows
        facets = search.find(work, SearchQuery(q="TIDE", facets=True)).facets["contributor"]
        return {
            report.by,
            *(each.by for each in tapes.get(work, "1978.1").readings),
            *(each.by for each in events.of(work, ObjectKind.TAPE, "1978.1")),
            *(each.value for each in facets),
        }


def test_visitors_read_a_volunteer_and_members_the_name(engine, ada):
    assert told(engine, VISITOR) == {named.SOMEBODY}
    assert told(engine, ada) == {"Ada Quill"}


def test_who_agreed_is_named_and_who_takes_it_back_is_not(engine, ada):
    with unit_of_work(engine, ada) as work:
        accounts.be_named(work, named=True)
    assert told(engine, VISITOR) == {"Ada Quill"}
    with unit_of_work(engine, ada) as work:
        accounts.be_named(work, named=False)

    assert told(engine, VISITOR) == {named.SOMEBODY}
    with unit_of_work(engine, ada) as work:
        assert ada.person_id is not None
        details = [each.detail for each in accounts.history(work, ada.person_id)]
    assert details[:2] == ["no longer agrees to be named", "agreed to be named"]


def test_a_visitor_cannot_search_for_what_somebody_did_who_is_not_named(engine, ada):
    def found(actor: Actor) -> int:
        with unit_of_work(engine, actor, writes=False) as work:
            return search.find(work, SearchQuery(q="TIDE", contributor=("Ada Quill",))).total

    assert (found(VISITOR), found(ada) > 0) == (0, True)
    with unit_of_work(engine, ada) as work:
        accounts.be_named(work, named=True)
    assert found(VISITOR) == found(ada)


def test_a_name_written_down_is_kept_back_while_anybody_of_that_name_did_not_agree(sqlite_engine):
    agreed = factories.person(sqlite_engine, Role.VOLUNTEER, "pat")
    with unit_of_work(sqlite_engine, agreed) as work:
        accounts.be_named(work, named=True)
    with unit_of_work(sqlite_engine, COMMAND) as work:
        accounts.create_person(work, "pat 2", factories.PASSWORD, display_name="pat")
    with unit_of_work(sqlite_engine, writes=False) as work:
        naming = named.naming(work)

        assert naming("pat") == named.SOMEBODY
        assert naming(COMMAND.name) == COMMAND.name
    with unit_of_work(sqlite_engine, agreed, writes=False) as work:
        assert named.naming(work)("pat") == "pat"


def test_a_visitor_has_no_name_to_show(sqlite_engine):
    with unit_of_work(sqlite_engine) as work, pytest.raises(NotSignedIn):
        accounts.be_named(work, named=True)


def test_the_catalog_tells_names_of_people_only_where_it_asks_to_whom():
    """Whoever adds a record that says who did it must ask `named` for what to tell."""
    of_accounts = {"accounts.py", "invitations.py", "named.py", "passkeys.py", "published.py"}
    # These refuse visitors, or tell them nothing of who it was.
    for_members = {
        "entries.py", "loan_records.py", "requested.py", "shelf_check_records.py",
        "tape_request_records.py",
    }  # fmt: skip
    tells = {
        path.name
        for path in Path(server.catalog.__file__).parent.rglob("*.py")
        if "display_name" in (text := path.read_text(encoding="utf-8"))
        and "named." not in text
        and "sees_all" not in text
    }

    assert tells - of_accounts - for_members == set()
