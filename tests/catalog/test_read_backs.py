"""Reading a punched tape back: the same, and it is the library's; otherwise, and nothing is."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest

from server.catalog import (
    events,
    images,
    punching,
    punching_pictures,
    read_backs,
    search,
    tapes,
    verification,
)
from server.catalog.errors import Conflict, Invalid, TooLarge
from server.catalog.events import EventType, ObjectKind
from server.catalog.punching_values import GivenUp, PunchingQuery, Status
from server.catalog.records import VerifiedBy
from server.catalog.search_values import SearchQuery
from server.catalog.tape_values import TapeQuery
from server.catalog.vocabulary import Medium
from server.catalog.work import Role, unit_of_work
from tests import factories, punched
from tests.punched import SOMEBODY


def tape_of(engine, number):
    with unit_of_work(engine, SOMEBODY, writes=False) as work:
        return tapes.get(work, number)


def word_of(engine, sha256):
    with unit_of_work(engine, SOMEBODY, writes=False) as work:
        return verification.state(work, sha256)


def count_tapes(engine):
    with unit_of_work(engine, writes=False) as work:
        return tapes.page(work, TapeQuery()).total


def test_a_tape_that_was_read_back_the_same_is_accessioned_as_a_copy(engine):
    sha256 = punched.master(engine)
    program = punched.version(engine, sha256)
    made = punched.punched(engine, sha256)
    read = bytes(40) + punched.frames(engine, made.id)[20:]
    ada = factories.person(engine, Role.VOLUNTEER, "Ada")
    done = punched.read_back(engine, made.id, read, ada)
    assert done.tape is not None
    tape = tape_of(engine, done.tape)

    assert done.status is Status.SAME
    assert done.tape.endswith(".1")
    assert (tape.title, tape.program) == ("Tide table, version 2", program)
    assert (tape.medium, tape.levels) == (Medium.OILED_PAPER, 8)
    assert tape.loader_requirement == "language interpreter"
    assert tape.made == str(made.punched_on)
    assert "version 2 of Tide table" in tape.origin
    assert sha256[:12] in tape.origin
    assert tape.image is not None
    assert (tape.punching, [each.by for each in tape.readings]) == (made.id, ["Ada"])
    assert done.last_read_back is not None
    assert done.last_read_back.image == tape.image.sha256


def test_the_new_image_and_the_one_punched_from_say_that_it_was_read_back(engine):
    sha256 = punched.master(engine)
    made = punched.punched(engine, sha256, leader_frames=33)
    ada = factories.person(engine, Role.VOLUNTEER, "Ada")
    done = punched.read_back(engine, made.id, punched.frames(engine, made.id), ada)
    assert done.last_read_back is not None
    new = done.last_read_back.image
    assert new not in (None, sha256)

    for name in (sha256, new):
        found = word_of(engine, name)
        assert found.word is VerifiedBy.READ_BACK
        assert found.evidence[-1].by == "Ada"
        assert f"tape {done.tape}" in found.evidence[-1].note
        assert f"{made.frames:,} frames" in found.evidence[-1].note


def test_every_step_to_the_register_is_an_event(sqlite_engine):
    made = punched.punched(sqlite_engine, punched.master(sqlite_engine))
    done = punched.read_back(sqlite_engine, made.id, punched.frames(sqlite_engine, made.id))
    with unit_of_work(sqlite_engine, writes=False) as work:
        own = events.of(work, ObjectKind.PUNCHING, made.id)
        of_tape = {each.type for each in events.of(work, ObjectKind.TAPE, done.tape or "")}

    assert [each.type for each in own][::-1] == [
        EventType.CREATION,
        EventType.PUNCHING,
        EventType.DISSEMINATION,
        EventType.VALIDATION,
    ]
    assert own[0].outcome == "success"
    assert own[0].facts["identical"] is True
    assert of_tape == {EventType.ACCESSION, EventType.CAPTURE, EventType.VALIDATION}


def test_reading_back_does_not_vouch_for_what_nobody_vouches_for(sqlite_engine):
    """It proves the punching: a wrong image, faithfully punched, is a wrong tape."""
    sha256 = punched.master(sqlite_engine, vouched=False)
    made = punched.punched(sqlite_engine, sha256, leader_frames=33)
    done = punched.read_back(sqlite_engine, made.id, punched.frames(sqlite_engine, made.id))
    assert done.last_read_back is not None

    assert done.status is Status.SAME
    for name in (sha256, done.last_read_back.image):
        assert word_of(sqlite_engine, name).word is VerifiedBy.UNVERIFIED


def test_what_differs_is_kept_as_evidence_and_becomes_nothing_else(engine):
    made = punched.punched(engine, punched.master(engine))
    good = punched.frames(engine, made.id)
    at = made.data.start + 31
    bad = factories.damaged(good, at, channel=2)
    done = punched.read_back(engine, made.id, bad, reader="slow one")
    last = done.last_read_back
    assert last is not None

    assert (done.status, done.tape, last.image) == (Status.DIFFERS, None, None)
    assert [(each.kind, each.frame) for each in last.comparison.places] == [("changed", at)]
    assert (last.reader, last.file_name, last.frames) == ("slow one", "back.bin", len(bad))
    assert count_tapes(engine) == 0
    with unit_of_work(engine, writes=False) as work:
        with pytest.raises(Exception, match="No image"):
            images.get(work, last.sha256)
        assert len(search.find(work, SearchQuery(q="TIDE TABLE")).hits) == 1
        event = events.of(work, ObjectKind.PUNCHING, made.id)[0]
    assert event.outcome == "exceptions found"
    assert event.facts["differing"] == 1
    assert "frame" in event.detail


def test_a_tape_that_differs_can_be_read_again_and_be_the_same(engine):
    made = punched.punched(engine, punched.master(engine))
    good = punched.frames(engine, made.id)
    punched.read_back(engine, made.id, good[:-80])
    done = punched.read_back(engine, made.id, good)

    assert done.status is Status.SAME
    assert [each.comparison.same for each in done.read_backs] == [False, True]


def test_a_tape_that_differs_can_be_punched_again_or_given_up(sqlite_engine):
    engine = sqlite_engine
    made = punched.punched(engine, punched.master(engine))
    punched.read_back(engine, made.id, b"\x55" * 300)
    with unit_of_work(engine, SOMEBODY) as work:
        assert punching.again(work, made.id).status is Status.PREPARED
    with pytest.raises(Conflict, match="cannot be read back") as refused:
        punched.compared(engine, made.id, punched.frames(engine, made.id))
    with unit_of_work(engine, SOMEBODY) as work:
        assert punching.give_up(work, made.id, GivenUp()).status is Status.GIVEN_UP

    assert "on what it was punched" in refused.value.mend


def test_a_tape_that_was_read_back_is_done_with(sqlite_engine):
    engine = sqlite_engine
    made = punched.punched(engine, punched.master(engine))
    good = punched.frames(engine, made.id)
    tape = punched.read_back(engine, made.id, good).tape
    with pytest.raises(Conflict) as refused:
        punched.compared(engine, made.id, good)
    with unit_of_work(engine, SOMEBODY) as work:
        for act in (punching.again, lambda work, at: punching.give_up(work, at, GivenUp())):
            with pytest.raises(Conflict):
                act(work, made.id)

    assert str(tape) in refused.value.mend


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"data": b""}, "file"),
        ({"sha256": "0" * 64}, "sha256"),
        ({"read_on": "2999-01-01"}, "read_on"),
    ],
)
def test_a_file_that_cannot_be_a_reading_is_refused(sqlite_engine, said, field):
    made = punched.punched(sqlite_engine, punched.master(sqlite_engine))
    with pytest.raises(Invalid) as refused:
        punched.compared(sqlite_engine, made.id, **{"data": b"\1", **said})

    assert list(refused.value.fields) == [field]


def test_a_file_over_the_limit_is_refused(sqlite_engine):
    made = punched.punched(sqlite_engine, punched.master(sqlite_engine))
    with pytest.raises(TooLarge):
        punched.compared(sqlite_engine, made.id, bytes(factories.LIMIT + 1))


def test_a_reading_with_holes_that_the_tape_cannot_have_differs_and_is_shown(sqlite_engine):
    five = bytes(30) + bytes([1, 2, 3, 4, 21, 9, 17, 30, 5] * 9) + bytes(30)
    made = punched.punched(sqlite_engine, punched.master(sqlite_engine, five, levels=5))
    read = bytearray(punched.frames(sqlite_engine, made.id))
    read[made.data.start + 4] |= 0x80
    done = punched.read_back(sqlite_engine, made.id, bytes(read))
    with unit_of_work(sqlite_engine, writes=False) as work:
        prepared, shown = punching_pictures.of(work, made.id)

    assert (made.levels, done.status) == (5, Status.DIFFERS)
    assert prepared.image.levels == 5
    assert shown is not None
    assert "changed" in shown.strip(made.data.start, 12).svg


def test_pictures_mark_what_is_missing_and_what_is_too_many(sqlite_engine):
    made = punched.punched(sqlite_engine, punched.master(sqlite_engine))
    good, at = punched.frames(sqlite_engine, made.id), made.data.start + 20
    punched.read_back(
        sqlite_engine, made.id, good[:at] + b"\x99" + good[at : at + 9] + good[at + 10 :]
    )
    with unit_of_work(sqlite_engine, writes=False) as work:
        prepared, read = punching_pictures.of(work, made.id)

    assert read is not None
    for pictured in (prepared, read):
        assert [each.kind for each in pictured.findings] == ["extra", "missing"]
        assert "extra" in pictured.strip(at - 6, 14).svg


def test_only_the_last_of_several_reels_vouches_for_the_image(sqlite_engine):
    engine = sqlite_engine
    sha256 = punched.master(
        engine, factories.text_tape(*(f"{n} REM {n * 7}" for n in range(10, 900, 10)))
    )
    reels = punched.begun(engine, sha256, frames_per_reel=700)
    assert len(reels) > 1
    words, done = [], reels[0]
    for reel in reels:
        with unit_of_work(engine, SOMEBODY) as work:
            punching.punched(work, reel.id, punched.ON_PAPER)
        done = punched.read_back(engine, reel.id, punched.frames(engine, reel.id))
        words.append(word_of(engine, sha256).word)
        assert tape_of(engine, done.tape).title.endswith(f", reel {reel.reel} of {len(reels)}")

    assert [each.reel for each in done.together] == list(range(1, len(reels) + 1))
    assert words[-1] is VerifiedBy.READ_BACK
    assert set(words[:-1]) == {VerifiedBy.PROOF_READ}


def test_reels_that_are_confirmed_at_once_vouch_for_the_image_together(engine):
    lines = (f"{number} REM {number * 7}" for number in range(10, 900, 10))
    sha256 = punched.master(engine, factories.text_tape(*lines))
    reels = punched.begun(engine, sha256, frames_per_reel=1000)
    for reel in reels:
        with unit_of_work(engine, SOMEBODY) as work:
            punching.punched(work, reel.id, punched.ON_PAPER)
    ready = [punched.compared(engine, reel.id, punched.frames(engine, reel.id)) for reel in reels]
    barrier = Barrier(len(ready))

    def confirm(found):
        barrier.wait()
        with unit_of_work(engine, SOMEBODY) as work:
            return read_backs.settle(work, found).tape

    with ThreadPoolExecutor(len(ready)) as pool:
        numbers = list(pool.map(confirm, ready))

    assert len(set(numbers)) == len(reels) > 1
    assert word_of(engine, sha256).word is VerifiedBy.READ_BACK


def test_what_people_wrote_of_the_tape_that_is_copied_goes_with_the_copy(sqlite_engine):
    engine = sqlite_engine
    with factories.acting(engine) as work:
        program = factories.program(work).id
        factories.tape(
            work,
            accession_number="1978.4",
            program=program,
            loader_requirement="8K interpreter, first release",
        )
    sha256 = punched.master(engine, tape="1978.4")
    made = punched.punched(engine, sha256)
    done = punched.read_back(engine, made.id, punched.frames(engine, made.id))
    tape = tape_of(engine, done.tape)

    assert (tape.program, tape.title) == (program, "Tide table")
    assert tape.loader_requirement == "8K interpreter, first release"


def test_two_people_who_confirm_one_punching_at_once_make_one_tape(engine):
    made = punched.punched(engine, punched.master(engine))
    good = punched.frames(engine, made.id)
    ready = [punched.compared(engine, made.id, good) for _ in range(2)]
    barrier = Barrier(2)

    def confirm(found):
        barrier.wait()
        try:
            with unit_of_work(engine, SOMEBODY) as work:
                return read_backs.settle(work, found).tape
        except Conflict as refused:
            return refused

    with ThreadPoolExecutor(2) as pool:
        came = list(pool.map(confirm, ready))

    numbers = [each for each in came if isinstance(each, str)]
    (refused,) = [each for each in came if isinstance(each, Conflict)]
    assert len(numbers) == 1
    assert numbers[0] in refused.mend
    assert count_tapes(engine) == 1
    with unit_of_work(engine, writes=False) as work:
        assert len(punching.get(work, made.id).read_backs) == 1
        assert punching.page(work, PunchingQuery(tape=numbers[0])).total == 1
