import hashlib
from datetime import date

import pytest
from sqlalchemy import Engine, func, select

from server.catalog import condition, events, photos
from server.catalog.condition_values import NewReport
from server.catalog.errors import Invalid, NotAllowed, NotFound, NotSignedIn
from server.catalog.events import EventType, ObjectKind
from server.catalog.photos import AT_ONCE, Sent
from server.catalog.pixels import Rewritten, rewrite
from server.catalog.vocabulary import Access, Condition
from server.catalog.work import Role, unit_of_work
from server.store.photos import PhotoFile
from tests import camera, factories

NUMBER = "1978.4"


@pytest.fixture(scope="module")
def taken() -> Rewritten:
    return rewrite(camera.located())


@pytest.fixture
def library(sqlite_engine: Engine) -> Engine:
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number=NUMBER)
    return sqlite_engine


def test_a_photo_is_kept_under_the_digest_of_what_is_kept(engine, taken):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number=NUMBER)
        (added,) = photos.add(work, NUMBER, [taken], "The tear at 3.4 m")
    with unit_of_work(engine, writes=False) as work:
        whole = photos.whole(work, added.id)

        assert hashlib.sha256(whole).hexdigest() == added.sha256
        assert photos.small(work, added.id) == taken.small.data
        assert photos.of_tape(work, NUMBER) == (added,)
        assert added.alt == "The tear at 3.4 m"
        (logged,) = [
            each for each in events.of(work, ObjectKind.TAPE, NUMBER)
            if each.type == EventType.IMAGING
        ]  # fmt: skip
        assert logged.facts["sha256"] == added.sha256


def test_the_same_photo_twice_is_one_and_of_two_tapes_is_held_once(library, taken):
    with factories.acting(library) as work:
        factories.tape(work, accession_number="1978.5")
        first = photos.add(work, NUMBER, [taken, taken])
        again = photos.add(work, NUMBER, [taken])
        photos.add(work, "1978.5", [taken])

        assert {each.id for each in (*first, *again)} == {first[0].id}
        assert work.session.scalar(select(func.count()).select_from(PhotoFile)) == 1


def test_a_photo_may_belong_to_a_report_on_its_tape_and_to_no_other(library, taken):
    with factories.acting(library) as work:
        factories.tape(work, accession_number="1978.5")
        new = NewReport(tape=NUMBER, checked_on=date(2026, 1, 2), state=Condition.GOOD)
        report = condition.log(work, new)
        (added,) = photos.add(work, NUMBER, [taken], report_id=report.id)

        assert photos.of_report(work, report.id) == (added,)
        with pytest.raises(NotFound):
            photos.add(work, "1978.5", [taken], report_id=report.id)
        with pytest.raises(NotFound):
            photos.add(work, NUMBER, [taken], report_id=2**40)


def test_what_nobody_described_says_so_and_can_be_described(library, taken):
    with factories.acting(library, Role.VOLUNTEER) as work:
        (added,) = photos.add(work, NUMBER, [taken])
        assert "nobody has described" in added.alt
        told = photos.describe(work, added.id, "A crease")
        photos.describe(work, added.id, "A crease")
        changes = [
            each.facts for each in events.of(work, ObjectKind.TAPE, NUMBER)
            if each.type == EventType.MODIFICATION
        ]  # fmt: skip

        assert told.shows == "A crease"
        assert [each["before"] for each in changes] == [{"shows": ""}]
        with pytest.raises(Invalid):
            photos.describe(work, added.id, "x" * 201)


def test_a_photo_goes_for_good_but_the_log_keeps_that_it_was_there(library, taken):
    bea, cem = (factories.person(library, Role.VOLUNTEER, name) for name in ("Bea", "Cem"))
    with unit_of_work(library, bea) as work:
        (added,) = photos.add(work, NUMBER, [taken], "A face by mistake")
    with unit_of_work(library, cem) as work, pytest.raises(NotAllowed):
        photos.remove(work, added.id)
    with unit_of_work(library, bea) as work:
        photos.remove(work, added.id)
        newest = events.of(work, ObjectKind.TAPE, NUMBER)[0]

        assert (newest.type, newest.facts["sha256"]) == (EventType.DELETION, added.sha256)
        assert work.session.scalar(select(func.count()).select_from(PhotoFile)) == 0
        with pytest.raises(NotFound):
            photos.whole(work, added.id)


def test_an_archivist_takes_any_photo_away_and_leaves_those_of_other_tapes(library, taken):
    bea = factories.person(library, Role.VOLUNTEER, "Bea")
    with unit_of_work(library, bea) as work:
        factories.tape(work, accession_number="1978.5")
        (one,) = photos.add(work, NUMBER, [taken])
        (two,) = photos.add(work, "1978.5", [taken])
    with factories.acting(library, Role.ARCHIVIST) as work:
        photos.remove(work, one.id)

        assert photos.small(work, two.id) == taken.small.data


def test_a_photo_goes_that_a_tape_has_too_which_is_closed_to_whoever_takes_it_away(library, taken):
    bea = factories.person(library, Role.VOLUNTEER, "Bea")
    with unit_of_work(library, bea) as work:
        (one,) = photos.add(work, NUMBER, [taken])
    with factories.acting(library, Role.ARCHIVIST) as work:
        factories.tape(work, accession_number="1978.5", access=Access.RESTRICTED)
        (two,) = photos.add(work, "1978.5", [taken])
    with unit_of_work(library, bea) as work:
        photos.remove(work, one.id)
    with factories.acting(library, Role.ARCHIVIST) as work:
        assert photos.small(work, two.id) == taken.small.data


def test_a_visitor_adds_changes_and_takes_away_nothing(library, taken):
    with unit_of_work(library) as work:
        for act in (
            lambda: photos.add(work, NUMBER, [taken]),
            lambda: photos.describe(work, 1, "x"),
            lambda: photos.remove(work, 1),
        ):
            with pytest.raises(NotSignedIn):
                act()


def test_photos_that_are_none_or_too_large_or_too_many_are_refused_by_name():
    good = Sent("good.jpg", camera.photo())
    for sent, words in (
        ([good, Sent("tape.bin", b"frames")], "tape.bin"),
        ([Sent("large.jpg", b"x" * 100_001)], "large.jpg: it has more than 100,000 bytes"),
        ([good] * (AT_ONCE + 1), "11 photos"),
    ):
        with pytest.raises(Invalid, match=words) as refused:
            photos.rewritten(sent, 100_000)
        assert list(refused.value.fields) == ["photos"]
