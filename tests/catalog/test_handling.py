"""Whether a tape may be run: what its condition says to whoever wants to."""

from datetime import date

import pytest

from server.catalog import condition, handling
from server.catalog.condition_values import NewReport
from server.catalog.errors import NotFound
from server.catalog.vocabulary import Condition, Hazard
from tests import factories


def warnings(engine, *reports):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.4")
        for day, report in enumerate(reports, 1):
            new = {"tape": "1978.4", "checked_on": date(2026, 1, day), "state": Condition.GOOD}
            condition.log(work, NewReport(**{**new, **report}))
        return handling.warnings_of(work, "1978.4")


@pytest.mark.parametrize(
    ("report", "words"),
    [
        ({"hazard": Hazard.MOULD}, "Do not run this tape. Mould can harm people."),
        ({"state": Condition.UNFIT}, "unfit for a reader"),
        ({"machine_readable": False}, "on 2026-01-01 a reader could not take it"),
        ({"state": Condition.FRAGILE}, "Fragile: run it only if"),
    ],
)
def test_what_a_report_says_is_heeded(engine, report, words):
    (told,) = warnings(engine, report)

    assert words in told


def test_the_gravest_comes_first(sqlite_engine):
    told = warnings(sqlite_engine, {"hazard": Hazard.PESTS, "state": Condition.UNFIT})

    assert "Insects" in told[0]
    assert "unfit" in told[1]


@pytest.mark.parametrize(
    "reports",
    [
        (),
        ({"machine_readable": True},),
        ({"state": Condition.UNFIT}, {"state": Condition.WORN, "machine_readable": True}),
    ],
)
def test_a_tape_that_nothing_is_wrong_with_any_more_may_be_run(sqlite_engine, reports):
    assert warnings(sqlite_engine, *reports) == ()


def test_a_tape_that_is_not_there_has_no_condition(sqlite_engine):
    with factories.acting(sqlite_engine) as work, pytest.raises(NotFound):
        handling.warnings_of(work, "1999.9")
