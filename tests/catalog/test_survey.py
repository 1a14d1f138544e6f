from datetime import date, timedelta

import pytest
from sqlalchemy import Engine

from server.catalog import condition, photos, survey, tapes
from server.catalog.condition_values import NewReport
from server.catalog.errors import Invalid, NotSignedIn
from server.catalog.pixels import rewrite
from server.catalog.survey import FREQUENT, Surveyed
from server.catalog.vocabulary import Condition, Handling
from server.catalog.work import Role, unit_of_work
from tests import camera, factories

NUMBER = "1978.4"
DAY = date(2026, 1, 2)


@pytest.fixture
def library(sqlite_engine: Engine) -> Engine:
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number=NUMBER)
    return sqlite_engine


def seen(number: int = 1, **others) -> Surveyed:
    key = f"{number:032d}"
    given = {"tape": NUMBER, "checked_on": DAY + timedelta(days=number), "state": "worn"}
    return Surveyed.of({**given, "key": key, **others})


def kinds(report):
    return [each.kind.value for each in report.defects]


def test_what_was_seen_at_a_glance_becomes_a_report(library):
    with factories.acting(library, Role.VOLUNTEER) as work:
        taken = [rewrite(camera.photo())]
        report = survey.log(
            work, seen(defects=("crease", "dust", "crease"), do_not_run=True), taken, "Its box"
        )

        assert kinds(report) == ["crease", "dust"]
        assert (report.state, report.handling) == (Condition.WORN, Handling.DO_NOT_RUN)
        assert tapes.get(work, NUMBER).do_not_run
        (photo,) = photos.of_report(work, report.id)
        assert photo.shows == "Its box"


def test_mould_sets_the_tape_apart_and_is_a_defect(library):
    with factories.acting(library, Role.VOLUNTEER) as work:
        report = survey.log(work, seen(mould=True))

        assert kinds(report) == ["mould"]
        assert tapes.get(work, NUMBER).quarantined


def test_what_the_report_before_says_still_stands_if_one_says_so(library):
    with factories.acting(library, Role.VOLUNTEER) as work:
        tear = {"kind": "tear", "severity": "slight", "position_mm": "3.4 m"}
        before = condition.log(
            work,
            NewReport.of({"tape": NUMBER, "checked_on": DAY, "state": "worn", "defects": [tear]}),
        )
        still = survey.log(work, seen(1, as_before=True, defects=("tear", "dust")))
        anew = survey.log(work, seen(2, defects=("dust",)))

        assert still.defects[0] == before.defects[0]
        assert kinds(still) == ["tear", "dust"]
        assert kinds(anew) == ["dust"]


def test_what_is_sent_again_is_logged_once_with_its_photos(library):
    with factories.acting(library, Role.VOLUNTEER) as work:
        taken = [rewrite(camera.photo())]
        first, again = (survey.log(work, seen(), taken) for _ in range(2))

        assert first == again
        assert condition.page(work, NUMBER).total == 1
        assert len(photos.of_tape(work, NUMBER)) == 1


def test_a_survey_needs_a_key_and_somebody_signed_in(library):
    with pytest.raises(Invalid) as refused:
        seen(key="")
    assert list(refused.value.fields) == ["key"]
    with unit_of_work(library) as work, pytest.raises(NotSignedIn):
        survey.log(work, seen())


def test_what_is_offered_is_what_is_met_most():
    assert len(set(FREQUENT)) == len(FREQUENT) == 12
