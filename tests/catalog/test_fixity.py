from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, text

from server.catalog import (
    accession,
    audits,
    downloads,
    events,
    fixity,
    images,
    mending,
    merge_choice,
    preparing,
    punching,
    punching_start,
    redecoding,
)
from server.catalog.errors import FixityFailed
from server.catalog.events import WHOLE, EventType, ObjectKind
from server.catalog.fixity_events import digest
from server.catalog.held import image_id_of
from server.catalog.merging_values import NewMerge
from server.catalog.work import Role, Work
from server.settings import Settings
from server.store.engine import make_engine
from server.store.replica import frames_in, replica_engine
from server.tape.preparing import Preparation
from tests import factories
from tests.spoiling import spoil

TAPE = factories.text_tape()
NAME = "fixity-audit-1"


@pytest.fixture
def sha256(engine: Engine) -> str:
    with factories.acting(engine) as work:
        return factories.upload(work, TAPE).image.sha256


def checks(work: Work, sha256: str) -> list[tuple[EventType, str]]:
    """What fixity audits wrote down of an image, oldest first."""
    kinds = {EventType.FIXITY, EventType.REPLICATION}
    found = events.of(work, ObjectKind.IMAGE, sha256)
    return [(each.type, each.outcome) for each in reversed(found) if each.type in kinds]


def settled(engine: Engine, sha256: str, good: audits.Good, name: str = NAME) -> None:
    checked = checked_again(engine, sha256)
    with factories.acting(engine) as work:
        audits.settle(work, name, checked, good)


def checked_again(engine: Engine, sha256: str) -> audits.Checked:
    with factories.acting(engine) as work:
        image_id = image_id_of(work, sha256)
    return audits.check(engine, image_id)


NONE = audits.Good(None, audits.NO_REPLICA)


def test_frames_that_are_those_of_their_name_pass(engine: Engine, sha256: str):
    assert checked_again(engine, sha256).is_intact
    settled(engine, sha256, NONE)
    with factories.acting(engine) as work:
        assert fixity.failures(work) == ()
        assert checks(work, sha256) == []


def test_a_flipped_hole_is_found_and_written_down_once_for_an_audit(engine: Engine, sha256: str):
    spoilt = spoil(engine, sha256)
    checked = checked_again(engine, sha256)
    assert not checked.is_intact
    assert checked.frames == spoilt
    for _ in range(2):
        settled(engine, sha256, NONE)
    with factories.acting(engine) as work:
        (failure,) = fixity.failures(work)
        assert (failure.sha256, failure.since <= work.now) == (sha256, True)
        assert digest(spoilt) in failure.detail
        assert audits.NO_REPLICA in failure.detail
        assert checks(work, sha256) == [(EventType.FIXITY, "fail")]
        assert images.get(work, sha256).fixity_failure == failure
        (told,) = fixity.failing_images(work)
        assert (told.title, told.failure) == ("reading.bin", failure)


def test_it_is_known_since_it_was_found_first(engine: Engine, sha256: str):
    spoil(engine, sha256)
    settled(engine, sha256, NONE, "one")
    with factories.acting(engine) as work:
        (first,) = fixity.failures(work)
    settled(engine, sha256, NONE, "two")
    with factories.acting(engine) as work:
        (again,) = fixity.failures(work)
        assert again.since == first.since
        assert len(checks(work, sha256)) == 2


REFUSED: dict[str, Callable[[Work, str], Any]] = {
    "download": lambda work, sha256: downloads.download(work, sha256, acknowledged=True),
    "preview": lambda work, sha256: preparing.preview(work, sha256, Preparation()),
    "reel": lambda work, sha256: preparing.reel(work, sha256, Preparation(), 1, acknowledged=True),
}


@pytest.mark.parametrize("what", REFUSED)
@pytest.mark.parametrize("is_known", [True, False])
def test_nothing_is_made_of_frames_that_are_not_their_own(
    engine: Engine, sha256: str, what: str, is_known: bool
):
    spoil(engine, sha256)
    if is_known:
        settled(engine, sha256, NONE)
    with pytest.raises(FixityFailed) as refused, factories.acting(engine) as work:
        REFUSED[what](work, sha256)
    assert "not those of its name since 20" in refused.value.what
    assert refused.value.where == sha256
    assert "Upload the file of the same reading" in refused.value.mend
    with factories.acting(engine) as work:
        assert checks(work, sha256) == [(EventType.FIXITY, "fail")]


def test_a_punching_neither_begins_nor_goes_on(engine: Engine, sha256: str):
    how = Preparation()
    with factories.acting(engine) as work:
        prepared = preparing.prepare(work, sha256, how, acknowledged=True)
        (begun,) = punching_start.begin(work, sha256, how, prepared)
        assert punching.frames(work, begun.id).frames
    spoil(engine, sha256)
    with pytest.raises(FixityFailed), factories.acting(engine) as work:
        punching.frames(work, begun.id)
    with pytest.raises(FixityFailed), factories.acting(engine) as work:
        punching_start.begin(work, sha256, how, prepared)


def test_it_has_no_vote_in_a_merge(engine: Engine, sha256: str):
    with factories.acting(engine) as work:
        tape = factories.tape(work).accession_number
        other = factories.damaged(TAPE, 100)
        readings = [factories.upload(work, data, tape=tape).reading_id for data in (TAPE, other)]
    spoil(engine, sha256)
    with pytest.raises(FixityFailed), factories.acting(engine) as work:
        merge_choice.choose(work, NewMerge.of({"readings": readings}), factories.LIMIT)


def test_it_keeps_the_decoding_that_was_made_of_its_own_frames(engine: Engine, sha256: str):
    with factories.acting(engine) as work:
        work.session.execute(text("UPDATE decoding SET decoder_release = 'earlier'"))
        image_id = image_id_of(work, sha256)
        assert len(redecoding.decoded_again(work, [image_id])) == 1
    spoil(engine, sha256)
    with factories.acting(engine) as work:
        assert redecoding.decoded_again(work, [image_id]) == []


def test_good_frames_are_put_back_and_both_are_written_down(engine: Engine, sha256: str):
    spoil(engine, sha256)
    settled(engine, sha256, audits.Good(TAPE, ""))
    with factories.acting(engine) as work:
        assert images.frames(work, sha256) == TAPE
        assert fixity.failures(work) == ()
        assert checks(work, sha256) == [
            (EventType.FIXITY, "fail"),
            (EventType.REPLICATION, "success"),
            (EventType.FIXITY, "success"),
        ]
        assert downloads.download(work, sha256, acknowledged=True).frames == TAPE


def test_frames_of_another_digest_are_put_nowhere(engine: Engine, sha256: str):
    spoilt = spoil(engine, sha256)
    settled(engine, sha256, audits.Good(factories.damaged(TAPE, 7), ""))
    with factories.acting(engine) as work:
        assert images.frames(work, sha256) == spoilt
        assert "refused to put them back" in fixity.failures(work)[0].detail
    with factories.acting(engine) as work:
        assert not mending.put_back(work, sha256, bytes(9), "nowhere")


def test_the_same_reading_uploaded_again_mends_it(engine: Engine, sha256: str):
    spoil(engine, sha256)
    settled(engine, sha256, NONE)
    with factories.acting(engine, Role.VOLUNTEER) as work:
        upload = accession.Upload(file_name="again.bin", data=TAPE)
        assert accession.accept(work, accession.examine(upload, factories.LIMIT)).held
    with factories.acting(engine) as work:
        assert images.frames(work, sha256) == TAPE
        assert fixity.failures(work) == ()
        (put_back,) = (
            each
            for each in events.of(work, ObjectKind.IMAGE, sha256)
            if each.type is EventType.REPLICATION
        )
        assert put_back.by == "some volunteer"


def test_one_that_was_mended_by_other_means_is_acquitted(engine: Engine, sha256: str):
    spoil(engine, sha256)
    settled(engine, sha256, NONE, "one")
    with factories.acting(engine) as work:
        # As if the file had been brought back from a backup by hand.
        assert mending.put_back(work, sha256, TAPE, "a test")
    with factories.acting(engine) as work:
        fixity_events = checks(work, sha256)
        audits.acquit(work, "two", [sha256])
        assert checks(work, sha256) == fixity_events


def test_an_audit_says_once_what_it_found_in_all(engine: Engine, sha256: str):
    with factories.acting(engine) as work:
        other = factories.upload(work, factories.hex_tape()).image.sha256
        began, newest = work.now, image_id_of(work, other)
    for each in (sha256, other):
        spoil(engine, each)
    settled(engine, sha256, audits.Good(TAPE, ""))
    settled(engine, other, NONE)
    told: dict[str, Any] = {"by": "Aksel", "started": began, "images": 2, "up_to": newest}
    with factories.acting(engine) as work:
        found = audits.conclude(work, NAME, **told)
    with factories.acting(engine) as work:
        assert audits.conclude(work, NAME, **told) == found
    assert (found.images, found.failing, found.mended, found.left) == (2, 2, 1, 1)
    assert (found.by, found.started) == ("Aksel", began)
    assert found.started <= found.ended
    with factories.acting(engine) as work:
        assert fixity.audits(work, 5) == (found,)
        (event,) = events.of(work, ObjectKind.LIBRARY, WHOLE)
        assert (event.type, event.outcome) == (EventType.FIXITY, "fail")
        assert event.type == "fixity check"
        assert event.detail == "2 images hashed, 2 failing, 1 of them mended"
        assert images.get(work, other).fixity_checked == found.ended
        later = factories.upload(work, bytes(100)).image
        assert later.fixity_checked is None


def test_one_is_due_when_the_last_is_too_long_ago_or_none_ever_was(engine: Engine):
    with factories.acting(engine) as work:
        assert fixity.last_audit(work) is None
        assert not audits.is_due(work, 7)
        factories.upload(work, TAPE)
        assert not audits.is_due(work, 7)
        in_a_week = Work(work.session, work.actor, work.now + timedelta(days=7))
        assert audits.is_due(in_a_week, 7)
        assert not audits.is_due(in_a_week, 8)
        assert not audits.is_due(in_a_week, 0)
        audits.conclude(in_a_week, NAME, by="x", started=in_a_week.now, images=1, up_to=1)
        assert not audits.is_due(in_a_week, 7)
        assert audits.is_due(Work(work.session, work.actor, work.now + timedelta(days=14)), 7)


def replica_of(settings: Settings, url: str) -> Engine:
    found = replica_engine(settings.model_copy(update={"replica": url}))
    assert found is not None
    return found


def test_a_replica_gives_only_frames_that_are_those_of_the_name(
    settings: Settings, engine: Engine, sha256: str
):
    replica = replica_of(settings, settings.database_url)
    assert audits.good_copy(replica, sha256) == audits.Good(TAPE, "")
    assert "does not hold it" in audits.good_copy(replica, "0" * 64).why
    spoil(engine, sha256)
    assert audits.good_copy(replica, sha256).frames is None
    assert "not those of the name either" in audits.good_copy(replica, sha256).why
    replica.dispose()
    assert audits.good_copy(None, sha256).why == audits.NO_REPLICA
    assert replica_engine(settings) is None


def test_a_replica_is_never_written(settings: Settings, engine: Engine, sha256: str):
    replica = replica_of(settings, settings.database_url)
    with pytest.raises(Exception, match=r"read-?only"), replica.begin() as connection:
        connection.execute(text("DELETE FROM image"))
    assert frames_in(replica, sha256) == TAPE
    replica.dispose()


def test_a_replica_that_is_away_is_no_reason_to_stop(sqlite_settings: Settings, tmp_path: Path):
    away = tmp_path / "no such folder" / "copy #2?.db"
    replica = replica_of(sqlite_settings, f"sqlite:///{away}")
    assert "cannot be read" in audits.good_copy(replica, "0" * 64).why
    assert not away.exists()


def test_frames_that_the_database_cannot_read_fail_too(sqlite_settings: Settings):
    engine = make_engine(sqlite_settings)
    long = factories.text_tape(*(f"{line} REM {'X' * 60}" for line in range(10, 2000, 10)))
    with factories.acting(engine) as work:
        sha256 = factories.upload(work, long).image.sha256
    cut_the_chain(engine, long)
    checked = checked_again(engine, sha256)
    assert (checked.is_intact, checked.frames) == (False, None)
    settled(engine, sha256, NONE)
    with factories.acting(engine) as work:
        assert "cannot read" in fixity.failures(work)[0].detail
    engine.dispose()


def cut_the_chain(engine: Engine, frames: bytes) -> None:
    """Make the first page that the frames run on to point to a page that is not there.

    The format of the file is SQLite's own (Database File Format, section 1.6: the first four
    bytes of an overflow page give the next one).
    """
    path = Path(engine.url.database or "")
    engine.dispose()
    held = bytearray(path.read_bytes())
    size = int.from_bytes(held[16:18], "big")
    page = held.index(frames[len(frames) // 2 :][:64]) // size * size
    held[page : page + 4] = (0x7FFFFFF0).to_bytes(4, "big")
    path.write_bytes(held)
