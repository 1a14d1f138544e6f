"""An archivist settles a disputed frame by eye: a new merged reading follows, the old one stays."""

from dataclasses import replace

import pytest
from sqlalchemy import Engine

from server.catalog import events, images, merged, merging, settling, verification
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.merging_values import MergedRecord, Settling
from server.catalog.records import VerifiedBy
from server.catalog.work import COMMAND, Role, unit_of_work
from server.tape.merging import SettledBy
from tests import factories
from tests.readings import PUNCHED, held, merge, settle, three, tied

RIGHT = PUNCHED[300]
WRONG = PUNCHED[300] ^ 3


@pytest.fixture
def first(engine: Engine) -> MergedRecord:
    return merge(engine, held(engine, tied(PUNCHED)))


@pytest.fixture
def on_sqlite(sqlite_engine: Engine) -> MergedRecord:
    return merge(sqlite_engine, held(sqlite_engine, tied(PUNCHED)))


def column(engine: Engine, merged_id: int = 1) -> int:
    with unit_of_work(engine, writes=False) as work:
        return merged.disputes(work, merged_id).rows[0].dispute.column


@pytest.mark.parametrize("value", [RIGHT, WRONG])
def test_what_is_settled_stands_in_a_merged_reading_that_follows(engine, first, value):
    ada = factories.person(engine, Role.ARCHIVIST, "Ada")
    second = settle(engine, 1, ada, column=column(engine), ruling="frame", value=value)
    with unit_of_work(engine, ada, writes=False) as work:
        frames = images.frames(work, second.row.sha256)
        (dispute,) = merged.disputes(work, 2).rows
        before = merged.get(work, 1)

    assert frames == PUNCHED[:300] + bytes([value]) + PUNCHED[301:]
    assert dispute.dispute.settled_by is SettledBy.EYE
    assert (second.row.follows, before.row.followed_by) == (1, 2)
    assert replace(before, row=replace(before.row, followed_by=None)) == first
    assert dispute.settlement == second.settlements[0]
    assert (second.settlements[0].by, second.settlements[0].note) == ("Ada", "seen on the strip")


def test_settling_by_eye_never_makes_readings_agree(sqlite_engine, on_sqlite):
    second = settle(sqlite_engine, 1, column=column(sqlite_engine), ruling="frame", value=RIGHT)
    with unit_of_work(sqlite_engine, writes=False) as work:
        state = verification.state(work, second.row.sha256)

    assert not second.row.agree
    assert "no eye makes readings agree" in second.judgement.sentence
    assert state.word is VerifiedBy.UNVERIFIED


def test_settling_is_logged_with_who_what_and_why(sqlite_engine, on_sqlite):
    ada = factories.person(sqlite_engine, Role.ARCHIVIST, "Ada")
    place = column(sqlite_engine)
    second = settle(sqlite_engine, 1, ada, column=place, ruling="frame", value=WRONG)
    with unit_of_work(sqlite_engine, ada, writes=False) as work:
        logged = events.of(work, ObjectKind.IMAGE, second.row.sha256)

    (event,) = [each for each in logged if each.type == EventType.SETTLEMENT]
    assert (event.by, event.outcome, event.detail) == ("Ada", "frame", "seen on the strip")
    assert event.facts == {
        "column": place, "ruling": "frame", "value": WRONG, "merged_reading": 2, "follows": 1,
    }  # fmt: skip


def test_a_place_may_be_held_to_have_no_frame(sqlite_engine, on_sqlite):
    second = settle(sqlite_engine, 1, column=column(sqlite_engine), ruling="no-frame")
    with unit_of_work(sqlite_engine, writes=False) as work:
        frames = images.frames(work, second.row.sha256)
        (dispute,) = merged.disputes(work, 2).rows

    assert frames == PUNCHED[:300] + PUNCHED[301:]
    assert (dispute.dispute.frame, dispute.position_mm) == (None, None)


def test_a_settlement_may_be_taken_back(sqlite_engine, on_sqlite):
    place = column(sqlite_engine)
    settle(sqlite_engine, 1, column=place, ruling="frame", value=WRONG)
    third = settle(sqlite_engine, 2, column=place, ruling="as-voted")

    assert (third.settlements, third.row.follows) == ((), 2)
    assert third.row.sha256 == on_sqlite.row.sha256


def test_settlements_add_up_in_the_order_of_the_tape(sqlite_engine):
    merge(sqlite_engine, held(sqlite_engine, three(PUNCHED)))
    with unit_of_work(sqlite_engine, writes=False) as work:
        rows = merged.disputes(work, 1).rows
    last, first = rows[-1].dispute, rows[0].dispute
    settle(sqlite_engine, 1, column=last.column, ruling="frame", value=0x55)
    third = settle(sqlite_engine, 2, column=first.column, ruling="frame", value=0x66)
    with unit_of_work(sqlite_engine, writes=False) as work:
        again = merged.disputes(work, 3).rows

    assert [(each.column, each.value) for each in third.settlements] == [
        (first.column, 0x66),
        (last.column, 0x55),
    ]
    assert [each.dispute.column for each in again] == [each.dispute.column for each in rows]
    assert third.row.counts[SettledBy.EYE] == 2


@pytest.mark.parametrize(
    ("ruling", "told"),
    [
        ({"ruling": "frame"}, "Give the frame"),
        ({"ruling": "as-voted"}, "Nobody settled"),
    ],
)
def test_a_ruling_that_cannot_be_meant_is_refused(sqlite_engine, on_sqlite, ruling, told):
    with pytest.raises(Invalid, match=told):
        settle(sqlite_engine, 1, column=column(sqlite_engine), **ruling)


def test_a_ruling_needs_a_note_and_a_frame_of_the_tape():
    for wrong in ({"note": " "}, {"value": 256}, {"ruling": "perhaps"}, {"column": -1}):
        with pytest.raises(Invalid) as refused:
            Settling.of({"column": 1, "ruling": "frame", "value": 1, "note": "seen"} | wrong)
        assert set(refused.value.fields) == set(wrong)


def test_a_frame_with_holes_outside_the_tape_is_refused(sqlite_engine):
    five = bytes(30) + bytes(n % 31 + 1 for n in range(0, 900, 7)) + bytes(30)
    other = bytes([*five[:60], five[60] ^ 3, *five[61:]])
    merge(sqlite_engine, held(sqlite_engine, [five, other]))
    with pytest.raises(Invalid, match="5-level tape has no frame 20"):
        settle(sqlite_engine, 1, column=column(sqlite_engine), ruling="frame", value=0x20)


def test_what_is_settled_so_already_is_not_settled_again(sqlite_engine, on_sqlite):
    place = column(sqlite_engine)
    settle(sqlite_engine, 1, column=place, ruling="frame", value=WRONG)
    with pytest.raises(Invalid, match="so already"):
        settle(sqlite_engine, 2, column=place, ruling="frame", value=WRONG)


def test_of_two_who_settle_at_once_the_second_is_told(engine, first):
    place = column(engine)
    ruling = Settling.of({"column": place, "ruling": "no-frame", "note": "a fold"})
    with unit_of_work(engine, COMMAND, writes=False) as work:
        found = merging.work_out(settling.settling(work, 1, ruling, factories.LIMIT))
    settle(engine, 1, column=place, ruling="frame", value=RIGHT)

    with unit_of_work(engine, COMMAND) as work, pytest.raises(Conflict, match="meanwhile"):
        merging.keep(work, found)
    with pytest.raises(Conflict, match="another follows it: 2"):
        settle(engine, 1, column=place, ruling="no-frame")
    with unit_of_work(engine, writes=False) as work:
        assert merged.page(work).total == 2


def test_only_archivists_settle(sqlite_engine, on_sqlite):
    bea = factories.person(sqlite_engine, Role.VOLUNTEER, "Bea")
    with pytest.raises(NotAllowed):
        settle(sqlite_engine, 1, bea, column=column(sqlite_engine), ruling="no-frame")


def test_only_a_dispute_is_settled(sqlite_engine, on_sqlite):
    for missing, place in ((99, 0), (1, 5)):
        with pytest.raises(NotFound):
            settle(sqlite_engine, missing, column=place, ruling="no-frame")


def test_what_an_earlier_release_of_the_merger_made_is_merged_again_first(
    sqlite_engine, on_sqlite, monkeypatch
):
    monkeypatch.setattr(settling, "MERGER_RELEASE", "2")
    with pytest.raises(Conflict, match="earlier release"):
        settle(sqlite_engine, 1, column=column(sqlite_engine), ruling="no-frame")
