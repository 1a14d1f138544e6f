from datetime import date, timedelta

import pytest

from server.catalog import condition, report_changes
from server.catalog.condition_values import Defect, NewReport
from server.catalog.report_changes import NEAR_MM, Course
from server.catalog.vocabulary import Condition, Handling
from tests import factories

DAY = date(2026, 1, 2)


def defect(kind="tear", severity="slight", **others) -> Defect:
    return Defect.of({"kind": kind, "severity": severity, **others})


@pytest.fixture
def compared(sqlite_engine):
    """What a report with `after` says otherwise than one with `before`."""

    def compare(before, after, **others):
        with factories.acting(sqlite_engine) as work:
            number = factories.tape(work).accession_number
            reports = [
                condition.log(
                    work,
                    NewReport.model_validate(
                        {"tape": number, "checked_on": DAY + timedelta(days=day),
                         "state": Condition.WORN, "defects": defects} | more
                    ),
                )
                for day, (defects, more) in enumerate(((before, {}), (after, others)))
            ]  # fmt: skip
            assert condition.before(work, reports[0]) is None
            assert condition.before(work, reports[1]) == reports[0]
            return report_changes.compare(reports[1], reports[0])

    return compare


def courses(comparison):
    return [(each.course, each.defect.kind.value) for each in comparison.defects]


def test_defects_are_new_worse_better_gone_or_as_before(compared):
    before = (
        defect("tear", "slight", position_mm=1000),
        defect("stain", "moderate", position_mm=2000),
        defect("splice", position_mm=3000),
        defect("crease", position_mm=4000),
    )
    after = (
        defect("tear", "severe", position_mm=1010),
        defect("stain", "slight", position_mm=1990),
        defect("splice", position_mm=3000),
        defect("mould"),
    )

    assert courses(compared(before, after)) == [
        (Course.NEW, "mould"),
        (Course.WORSE, "tear"),
        (Course.SAME, "splice"),
        (Course.BETTER, "stain"),
        (Course.GONE, "crease"),
    ]


@pytest.mark.parametrize(
    ("was", "now", "course"),
    [
        ({"position_mm": 1000}, {"position_mm": 1000 + NEAR_MM}, [Course.SAME]),
        (
            {"position_mm": 1000},
            {"position_mm": 1001 + NEAR_MM},
            [Course.NEW, Course.GONE],
        ),
        ({}, {}, [Course.SAME]),
        ({}, {"position_mm": 400}, [Course.SAME]),
        (
            {"position_mm": 9, "length_mm": 10},
            {"position_mm": 9, "length_mm": 25},
            [Course.WORSE],
        ),
        (
            {"position_mm": 9, "length_mm": 25},
            {"position_mm": 9, "length_mm": 10},
            [Course.BETTER],
        ),
        ({"extent": "one place"}, {"extent": "all along"}, [Course.WORSE]),
        ({}, {"extent": "all along"}, [Course.SAME]),
    ],
)
def test_a_defect_is_known_again_by_its_kind_and_its_place(compared, was, now, course):
    comparison = compared((defect(**was),), (defect(**now),))

    assert [each.course for each in comparison.defects] == course


def test_the_nearest_two_are_taken_for_one(compared):
    comparison = compared(
        (defect(position_mm=100),),
        (defect("tear", "severe", position_mm=140), defect(position_mm=101)),
    )

    assert courses(comparison) == [(Course.NEW, "tear"), (Course.SAME, "tear")]


def test_what_is_said_of_the_whole_tape_is_compared_too(compared):
    comparison = compared((), (), state=Condition.FRAGILE, handling=Handling.BY_HAND)

    assert [(each.field, each.after) for each in comparison.fields] == [
        ("state", Condition.FRAGILE),
        ("handling", Handling.BY_HAND),
    ]
    assert comparison.differs


def test_reports_that_say_the_same_do_not_differ(compared):
    assert not compared((defect(),), (defect(),)).differs
