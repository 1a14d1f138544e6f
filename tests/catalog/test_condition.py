from datetime import date, timedelta

import pytest
from sqlalchemy import Engine

from server.catalog import condition, events, tapes
from server.catalog.condition_values import Defect, NewReport, ReportChange, ReportRecord
from server.catalog.defect_words import DEFECTS, DefectKind
from server.catalog.errors import (
    Conflict,
    Invalid,
    NotAllowed,
    NotFound,
    NotSignedIn,
    Quarantined,
)
from server.catalog.events import EventType, ObjectKind
from server.catalog.vocabulary import (
    Action,
    Condition,
    DefectSeverity,
    Extent,
    Handling,
    Hazard,
    Method,
    Reason,
    Urgency,
)
from server.catalog.work import Actor, Role, Work, unit_of_work
from tests import factories

NUMBER = "1978.4"
DAY = date(2026, 1, 2)


@pytest.fixture
def library(sqlite_engine: Engine) -> Engine:
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number=NUMBER)
    return sqlite_engine


def log(work: Work, **others) -> ReportRecord:
    given = {"tape": NUMBER, "checked_on": DAY, "state": Condition.GOOD}
    return condition.log(work, NewReport.model_validate(given | others))


def test_a_report_is_kept_as_it_was_given(engine):
    given = NewReport(
        tape=NUMBER,
        checked_on=DAY,
        state=Condition.FRAGILE,
        reason=Reason.BEFORE_LOAN,
        method=Method.LIGHT_TABLE,
        defects=(
            Defect(
                kind=DefectKind.TEAR,
                severity=DefectSeverity.SEVERE,
                extent=Extent.ONE_PLACE,
                position_mm=1524.5,
                length_mm=12.0,
            ),
            Defect(kind=DefectKind.CURL, severity=DefectSeverity.SLIGHT, note="whole length"),
        ),
        machine_readable=False,
        advice="read by eye only",
        handling=Handling.BY_HAND,
        action=Action.CONSERVATOR,
        urgency=Urgency.SOON,
        next_check=DAY + timedelta(days=365),
    )
    with factories.acting(engine) as work:
        factories.tape(work, accession_number=NUMBER, title="Tides")
        report_id = condition.log(work, given).id
    with unit_of_work(engine, writes=False) as work:
        report = condition.get(work, report_id)

    told = NewReport.model_fields.keys() - {"key"}
    assert {name: getattr(report, name) for name in told} == {
        name: getattr(given, name) for name in told
    }
    assert (report.tape_title, report.by, report.revision) == ("Tides", "command line", 1)


def test_the_newest_report_says_the_condition_whenever_it_was_logged(library):
    with factories.acting(library) as work:
        log(work, state=Condition.WORN)
        log(work, state=Condition.FRAGILE, checked_on=DAY + timedelta(days=1))
        log(work, state=Condition.UNFIT, checked_on=DAY - timedelta(days=1))

        assert tapes.get(work, NUMBER).condition == Condition.FRAGILE


def test_reports_are_listed_newest_first_and_by_tape(library):
    with factories.acting(library) as work:
        factories.tape(work, accession_number="1978.5")
        reports = [log(work, checked_on=DAY + timedelta(days=each)) for each in range(3)]
        other = log(work, tape="1978.5")
        mine = condition.page(work, NUMBER, page_size=2)
        rest = condition.page(work, NUMBER, page=2, page_size=2)

        assert [each.id for each in (*mine.rows, *rest.rows)] == [
            each.id for each in reversed(reports)
        ]
        assert (mine.total, mine.pages) == (3, 2)
        assert other in condition.page(work).rows
        with pytest.raises(NotFound):
            condition.page(work, "1950.1")


def test_a_report_from_a_day_still_to_come_is_refused(library):
    with factories.acting(library) as work:
        with pytest.raises(Invalid) as refused:
            log(work, checked_on=work.now.date() + timedelta(days=2))

        assert list(refused.value.fields) == ["checked_on"]


def test_a_report_on_a_tape_that_is_not_there_is_refused(library):
    with factories.acting(library) as work, pytest.raises(NotFound):
        log(work, tape="1950.1")


@pytest.mark.parametrize("report_id", [0, 7, -1, 2**70])
def test_a_report_that_is_not_there_is_not_found(library, report_id):
    with unit_of_work(library, writes=False) as work, pytest.raises(NotFound):
        condition.get(work, report_id)


def test_a_visitor_reports_nothing(library):
    with unit_of_work(library) as work:
        with pytest.raises(NotSignedIn):
            log(work)
        with pytest.raises(NotSignedIn):
            condition.amend(work, 1, ReportChange())


def test_an_amendment_keeps_what_the_report_said_before(library):
    with factories.acting(library) as work:
        report = log(work, advice="none", machine_readable=True)
        amended = condition.amend(
            work, report.id, ReportChange(state=Condition.WORN, advice="rewind by hand"), 1
        )
        newest = events.of(work, ObjectKind.REPORT, report.id)[0]

        assert (amended.state, amended.advice, amended.revision) == (
            Condition.WORN,
            "rewind by hand",
            2,
        )
        assert amended.machine_readable is True
        assert newest.facts["before"] == {"state": "good", "advice": "none"}
        assert tapes.get(work, NUMBER).condition == Condition.WORN


def test_what_was_tried_can_be_amended_to_not_tried(library):
    with factories.acting(library) as work:
        report = log(work, machine_readable=True)

        assert (
            condition.amend(work, report.id, ReportChange(machine_readable=None)).machine_readable
            is None
        )


def test_a_stale_amendment_is_refused(library):
    with factories.acting(library) as work:
        report = log(work)
        condition.amend(work, report.id, ReportChange(advice="x"), 1)
        with pytest.raises(Conflict) as refused:
            condition.amend(work, report.id, ReportChange(advice="y"), 1)

        assert refused.value.revision == 2


def test_a_volunteer_amends_only_their_own(library):
    bea, cem = (factories.person(library, Role.VOLUNTEER, name) for name in ("Bea", "Cem"))
    with unit_of_work(library, bea) as work:
        report = log(work)
        assert report.by == "Bea"
        assert condition.may_amend(work, report.id)
    with unit_of_work(library, cem) as work, pytest.raises(NotAllowed):
        condition.amend(work, report.id, ReportChange(advice="mine"))
    with unit_of_work(library, cem) as work, pytest.raises(NotAllowed):
        condition.require_amender(work, report.id)


@pytest.mark.parametrize("hazard", [each for each in Hazard if each.quarantines])
def test_a_hazard_holds_the_tape_apart_with_a_caution(library, hazard):
    with factories.acting(library) as work:
        report = log(work, hazard=hazard)
        tape = tapes.get(work, NUMBER)
        newest = events.of(work, ObjectKind.TAPE, NUMBER)[0]

        assert (tape.quarantined, tape.hazard) == (True, hazard)
        assert tape.cautions == report.cautions == newest.detail
        assert newest.type == EventType.QUARANTINE


def test_a_report_without_a_hazard_does_not_let_a_tape_out(library):
    with factories.acting(library) as work:
        log(work, hazard=Hazard.MOULD)
        log(work, checked_on=DAY + timedelta(days=30))

        assert tapes.get(work, NUMBER).quarantined


def test_a_tape_is_let_out_by_a_second_archivist(library):
    bea, cem = (factories.person(library, Role.ARCHIVIST, name) for name in ("Bea", "Cem"))
    with unit_of_work(library, bea) as work:
        log(work, hazard=Hazard.MOULD)
        with pytest.raises(Quarantined):
            condition.release(work, NUMBER, "looks dry")
        log(work, checked_on=DAY + timedelta(days=30))
        with pytest.raises(NotAllowed, match="your own"):
            condition.release(work, NUMBER, "looks dry")
    with unit_of_work(library, cem) as work:
        with pytest.raises(Invalid):
            condition.release(work, NUMBER, " ")
        condition.release(work, NUMBER, "dry and dormant for a month")
        newest = events.of(work, ObjectKind.TAPE, NUMBER)[0]

        assert not tapes.get(work, NUMBER).quarantined
        assert (newest.type, newest.detail) == (
            EventType.UNQUARANTINE,
            "dry and dormant for a month",
        )


def test_a_volunteer_lets_no_tape_out(library):
    with unit_of_work(library, Actor(None, "v", Role.VOLUNTEER)) as work:
        log(work, hazard=Hazard.PESTS)
        with pytest.raises(NotAllowed):
            condition.release(work, NUMBER, "gone")


def test_letting_out_a_tape_that_is_not_held_apart_does_nothing(library):
    with factories.acting(library) as work:
        condition.release(work, NUMBER, "nothing the matter")

        assert tapes.get(work, NUMBER).revision == 1


KEY = "0f8fad5b-d9cb-469f-a165-70867728950e"


def test_a_report_that_is_sent_twice_is_kept_once(library):
    bea = factories.person(library, Role.VOLUNTEER, "Bea")
    with unit_of_work(library, bea) as work:
        first = log(work, key=KEY)
    with unit_of_work(library, bea) as work:
        again = log(work, key=KEY, advice="sent again")
        told = events.of(work, ObjectKind.TAPE, NUMBER)

        assert again == first
        assert condition.page(work, NUMBER).total == 1
        assert [each.type for each in told].count(EventType.CONDITION) == 1


def test_a_key_of_somebody_elses_report_is_refused(library):
    bea, cem = (factories.person(library, Role.VOLUNTEER, name) for name in ("Bea", "Cem"))
    with unit_of_work(library, bea) as work:
        log(work, key=KEY)
    with unit_of_work(library, cem) as work, pytest.raises(Conflict):
        log(work, key=KEY)
    with unit_of_work(library, bea) as work:
        factories.tape(work, accession_number="1978.5")
        with pytest.raises(Conflict):
            log(work, tape="1978.5", key=KEY)


def test_the_next_check_comes_after_the_report(library):
    with factories.acting(library) as work:
        with pytest.raises(Invalid) as refused:
            log(work, next_check=DAY)
        report = log(work, next_check=DAY + timedelta(days=1))
        with pytest.raises(Invalid):
            condition.amend(work, report.id, ReportChange(checked_on=DAY + timedelta(days=1)))
        amended = condition.amend(work, report.id, ReportChange(next_check=None))

        assert list(refused.value.fields) == ["next_check"]
        assert amended.next_check is None


def test_a_length_without_a_place_is_refused():
    with pytest.raises(Invalid) as refused:
        Defect.of({"kind": "tear", "severity": "slight", "length_mm": "3 cm"})

    assert refused.value.fields == {"length_mm": "say from which place on it is so long"}


def test_a_place_is_written_as_it_was_measured():
    defect = Defect.of({"kind": "tear", "severity": "slight", "position_mm": "3.41 m"})

    assert (defect.position_mm, defect.frame) == (3410.0, 1343)


def test_every_kind_of_defect_has_a_meaning_and_a_way_to_handle_it():
    asked_for = (
        "tear, crease, edge wear, elongated feed holes, hanging chad, splice, adhesive residue, "
        "stain, mould, brittleness, skew, oil loss"
    )

    assert {DefectKind(each) for each in asked_for.split(", ")} <= set(DEFECTS)
    assert set(DEFECTS) == set(DefectKind)
    assert all(each.meaning and each.handling for each in DEFECTS.values())
