from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import Engine, select, update
from sqlmodel import col

from server.catalog import images, redecoding, search, verification
from server.catalog.records import VerifiedBy
from server.catalog.search import SearchQuery
from server.catalog.work import Work
from server.store.events import Event
from server.store.images import Decoding
from server.store.listings import pack_listing
from server.store.loaded import LoadedRun
from server.store.verification import Verification
from server.tape.identify import DECODER_RELEASE
from server.tape.listing import Line, Listing
from tests import factories

OLD = "0"


@pytest.fixture
def work(engine: Engine) -> Iterator[Work]:
    with factories.acting(engine) as work:
        yield work


def aged(work: Work, image_id: int, **made: Any) -> None:
    """Let it look as if an earlier release had decoded the image, and made that of it."""
    mine = update(Decoding).where(col(Decoding.image_id) == image_id)
    work.session.execute(mine.values(decoder_release=OLD, **made))
    work.session.expire_all()


def decodings(work: Work, image_id: int) -> list[tuple[str, bool]]:
    rows = work.session.execute(
        select(col(Decoding.decoder_release), col(Decoding.superseded))
        .where(col(Decoding.image_id) == image_id)
        .order_by(col(Decoding.id))
    )
    return [(release, superseded) for release, superseded in rows]


def again(work: Work, image_id: int) -> None:
    for each in redecoding.decoded_again(work, [image_id]):
        redecoding.keep(work, each)
    work.session.expire_all()


def unvouched(work: Work) -> None:
    for row in work.session.scalars(select(Verification)):
        work.session.delete(row)
    work.session.flush()


def test_what_an_earlier_release_made_is_made_anew_and_kept_beside(work: Work):
    receipt = factories.upload(work, factories.text_tape())
    before = images.get(work, receipt.image.sha256)
    poorer = Listing((Line("10 NOTHING MUCH", 0, 10, key=10),))
    aged(work, 1, format="unrecognised", listing=pack_listing(poorer), line_count=1, parts=None)
    assert redecoding.waiting(work) == 1
    again(work, 1)
    assert redecoding.waiting(work) == 0
    assert decodings(work, 1) == [(OLD, True), (DECODER_RELEASE, False)]
    assert images.get(work, receipt.image.sha256) == before
    assert images.listing(work, receipt.image.sha256).text.startswith("10 REM ** TIDE")


def test_it_is_found_by_what_it_says_now(work: Work):
    factories.upload(work, factories.text_tape())
    factories.upload(work, factories.hex_tape())
    for image_id in (1, 2):
        aged(work, image_id)
        again(work, image_id)
        again(work, image_id)
    assert len(search.find(work, SearchQuery(q="HOUR")).hits) == 1
    runs = work.session.execute(select(col(LoadedRun.image_id), col(LoadedRun.address))).all()
    assert [tuple(row) for row in runs] == [(2, 0x100)]


def test_what_this_release_decoded_is_left_alone(work: Work):
    factories.upload(work, factories.text_tape())
    events = work.session.scalars(select(Event)).all()
    again(work, 1)
    assert decodings(work, 1) == [(DECODER_RELEASE, False)]
    assert work.session.scalars(select(Event)).all() == events


def test_of_two_who_decode_again_the_second_changes_nothing(work: Work):
    factories.upload(work, factories.text_tape())
    aged(work, 1)
    both = [redecoding.decoded_again(work, [1])[0] for _ in range(2)]
    for each in both:
        redecoding.keep(work, each)
    assert decodings(work, 1) == [(OLD, True), (DECODER_RELEASE, False)]


def test_an_archive_that_went_back_for_a_while_comes_forward_again(work: Work):
    factories.upload(work, factories.text_tape())
    aged(work, 1)
    again(work, 1)
    kept = update(Decoding).where(col(Decoding.image_id) == 1)
    work.session.execute(
        kept.where(col(Decoding.decoder_release) == DECODER_RELEASE).values(superseded=True)
    )
    work.session.execute(kept.where(col(Decoding.decoder_release) == OLD).values(superseded=False))
    again(work, 1)
    assert decodings(work, 1) == [(OLD, True), (DECODER_RELEASE, False)]


def test_a_tape_that_passes_its_checks_only_now_vouches_for_itself(work: Work):
    sha256 = factories.upload(work, factories.hex_tape()).image.sha256
    unvouched(work)
    aged(work, 1, format="text", check_status="no-check")
    again(work, 1)
    assert verification.state(work, sha256).word is VerifiedBy.SELF_CHECKED
    assert len(verification.state(work, sha256).evidence) == 1


def test_what_passed_only_for_an_earlier_release_vouches_no_more(work: Work):
    frames = factories.damaged(factories.hex_tape(), 100)
    sha256 = factories.upload(work, frames).image.sha256
    work.session.add(
        Verification(
            image_id=1, kind="self-checked", evidence="All passed.", facts={}, made_at=work.now
        )
    )
    aged(work, 1, check_status="sound")
    again(work, 1)
    assert verification.state(work, sha256).word is VerifiedBy.UNVERIFIED
    log = work.session.scalars(select(Event).order_by(col(Event.id).desc())).all()
    assert ("verification", "unverified") in [(each.type, each.outcome) for each in log]


def test_what_a_person_vouched_for_stays(work: Work):
    sha256 = factories.upload(work, factories.text_tape()).image.sha256
    verification.proof_read(work, sha256, "Read against the print-out.")
    aged(work, 1)
    again(work, 1)
    assert verification.state(work, sha256).word is VerifiedBy.PROOF_READ
    log = work.session.scalars(select(Event).order_by(col(Event.id).desc())).first()
    assert log is not None
    assert log.detail == "decoded again, in place of release 0"
