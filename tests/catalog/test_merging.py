"""Readings are merged, and what they come to is kept with its evidence or not at all."""

import re
from datetime import date

import pytest
from sqlalchemy import Engine

from server.catalog import events, images, merged, merging, tapes, verification
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound, NotSignedIn, TooLarge
from server.catalog.events import EventType, ObjectKind
from server.catalog.merge_choice import candidates, choose, where_from
from server.catalog.merging_values import NewMerge
from server.catalog.records import VerifiedBy
from server.catalog.work import COMMAND, VISITOR, Role, unit_of_work
from server.tape.merging import AgreementKind, SettledBy
from tests import factories
from tests.readings import HEX, PUNCHED, TAPE, held, merge, read, three, tied, worked_out


def test_three_bad_readings_come_to_the_tape_that_was_punched(engine: Engine):
    numbers = held(engine, three(PUNCHED))
    ada = factories.person(engine, Role.VOLUNTEER, "Ada")
    record = merge(engine, numbers, ada)
    with unit_of_work(engine, ada, writes=False) as work:
        assert images.frames(work, record.row.sha256) == PUNCHED
        assert merged.get(work, record.row.id) == record

    assert (record.row.readings, record.row.tape, record.row.by) == (numbers, TAPE, "Ada")
    assert [each.source.orientation for each in record.sources] == [
        "as-read",
        "reversed",
        "as-read",
    ]
    assert [each.source.flipped for each in record.sources] == [2, 2, 2]
    assert [each.source.dropped for each in record.sources] == [1, 0, 0]
    assert [each.source.doubled for each in record.sources] == [0, 1, 0]
    assert record.sources[2].source.start == 7
    assert len(record.confidence) == len(PUNCHED)
    assert record.row.disputes >= 6


def test_what_was_merged_is_logged_as_that_and_not_as_a_capture(sqlite_engine: Engine):
    numbers = held(sqlite_engine, three(PUNCHED))
    record = merge(sqlite_engine, numbers)
    with unit_of_work(sqlite_engine, writes=False) as work:
        of_image = events.of(work, ObjectKind.IMAGE, record.row.sha256)
        of_tape = events.of(work, ObjectKind.TAPE, TAPE)

    (logged,) = [each for each in of_image if each.type == EventType.MERGING]
    assert logged.facts["readings"] == list(numbers)
    assert EventType.CAPTURE not in {each.type for each in of_image}
    assert of_tape[0].type == EventType.MERGING
    assert of_tape[0].facts == {"image": record.row.sha256, "readings": list(numbers)}


def test_no_reading_is_overwritten_and_the_tape_shows_the_merged_image(sqlite_engine: Engine):
    readings = three(PUNCHED)
    numbers = held(sqlite_engine, readings)
    record = merge(sqlite_engine, numbers)
    with unit_of_work(sqlite_engine, writes=False) as work:
        tape = tapes.get(work, TAPE)
        kept = [images.frames(work, each.sha256) for each in tape.readings]

    assert kept == [*readings, PUNCHED]
    assert [each.merged for each in tape.readings] == [None, None, None, record.row.id]
    assert tape.image is not None
    assert tape.image.sha256 == record.row.sha256


def test_readings_that_differ_are_not_said_to_agree(sqlite_engine: Engine):
    record = merge(sqlite_engine, held(sqlite_engine, three(PUNCHED)))
    with unit_of_work(sqlite_engine, writes=False) as work:
        word = verification.state(work, record.row.sha256).word

    assert (record.row.agree, record.judgement.agree) == (False, False)
    assert record.agreement is AgreementKind.NOT
    assert word is VerifiedBy.UNVERIFIED


def test_two_passes_that_are_equal_but_for_their_leader_agree(engine: Engine):
    held(engine, [HEX], tape=None)  # so that readings are not numbered as the merger counts them
    numbers = held(engine, [PUNCHED, PUNCHED[20:], three(PUNCHED)[0]])
    record = merge(engine, numbers)
    with unit_of_work(engine, writes=False) as work:
        state = verification.state(work, record.row.sha256)
        event = events.of(work, ObjectKind.IMAGE, record.row.sha256)[0]

    assert (record.agreement, record.row.agree) == (AgreementKind.EQUAL, True)
    assert [each.is_equal for each in record.sources] == [True, True, False]
    assert state.word is VerifiedBy.READINGS_AGREE
    assert f"Merged reading {record.row.id}, of readings" in state.evidence[-1].note
    assert f"Readings {numbers[0]} and {numbers[1]} are equal" in state.evidence[-1].note
    assert (event.type, event.outcome, event.by) == (
        EventType.VERIFICATION, VerifiedBy.READINGS_AGREE, merging.MERGER,
    )  # fmt: skip


def test_readings_whose_every_dispute_a_checksum_settles_agree(engine: Engine):
    record = merge(engine, held(engine, three(HEX)))
    with unit_of_work(engine, writes=False) as work:
        image = images.get(work, record.row.sha256)
        assert images.frames(work, record.row.sha256) == HEX
        evidence = {each.kind for each in image.verification.evidence}

    assert set(record.row.counts) == {SettledBy.CHECKSUM}
    assert (record.agreement, record.row.agree) == (AgreementKind.CHECKSUM, True)
    assert evidence == {VerifiedBy.SELF_CHECKED, VerifiedBy.READINGS_AGREE}


def test_readings_of_no_recorded_tape_never_agree(sqlite_engine: Engine):
    record = merge(sqlite_engine, held(sqlite_engine, [PUNCHED, PUNCHED[20:]], tape=None))

    assert (record.agreement, record.row.agree) == (AgreementKind.EQUAL, False)
    assert "Put each to its tape" in record.judgement.sentence


def test_readings_put_to_their_tape_later_may_be_merged_again_and_agree(sqlite_engine: Engine):
    numbers = held(sqlite_engine, [PUNCHED, PUNCHED[20:]], tape=None)
    first = merge(sqlite_engine, numbers)
    with unit_of_work(sqlite_engine, COMMAND) as work:
        factories.tape(work, accession_number=TAPE)
        for reading in first.sources:
            tapes.attach(work, TAPE, reading.reading.sha256)

    with pytest.raises(Conflict):
        merge(sqlite_engine, numbers)


@pytest.mark.parametrize(
    ("second", "told_apart"),
    [
        ({}, False),
        ({"read_on": date(2026, 3, 2)}, True),
        ({"reader": "another reader"}, True),
        ({"read_on": None, "reader": ""}, False),
    ],
)
def test_files_alike_in_every_frame_are_one_pass_unless_the_record_tells_them_apart(
    sqlite_engine: Engine, second, told_apart
):
    with unit_of_work(sqlite_engine, COMMAND) as work:
        factories.tape(work, accession_number=TAPE)
        numbers = (read(work, PUNCHED), read(work, PUNCHED, **second))
        same_as = [each.same_as for each in candidates(work, [TAPE])]

    if told_apart:
        assert merge(sqlite_engine, numbers).row.agree
        assert same_as == [None, None]
    else:
        with pytest.raises(Invalid, match="count as one pass"):
            worked_out(sqlite_engine, numbers)
        assert same_as == [None, numbers[0]]


def test_what_cannot_be_merged_is_refused_with_what_to_do(sqlite_engine: Engine):
    numbers = held(sqlite_engine, three(PUNCHED))
    kept = merge(sqlite_engine, numbers)
    with unit_of_work(sqlite_engine, COMMAND) as work:
        factories.tape(work, accession_number="1981.5")
        other = read(work, HEX, tape="1981.5")
        own = tapes.get(work, TAPE).readings[-1].id
    for wrong, told in (
        ((numbers[0], 999), "no reading 999"),
        ((numbers[0], numbers[0]), "merged with itself"),
        ((numbers[0], own), "is itself merged"),
        ((numbers[0], other), "of different tapes: 1981.4, 1981.5"),
    ):
        with pytest.raises(Invalid, match=told) as refused:
            worked_out(sqlite_engine, wrong)
        assert refused.value.mend
        assert set(refused.value.fields) == {"readings"}
    assert kept.row.id == 1


def test_readings_that_have_nothing_in_common_are_refused(sqlite_engine: Engine):
    held(sqlite_engine, [factories.text_tape()], tape=None)
    numbers = held(sqlite_engine, [PUNCHED, HEX])
    with pytest.raises(Invalid) as refused:
        worked_out(sqlite_engine, numbers)

    assert set(map(int, re.findall(r"eading (\d+)", refused.value.what))) <= set(numbers)
    assert re.search(r"Reading \d+ does not fit", refused.value.what)
    assert refused.value.what[0].isupper()
    assert refused.value.mend.endswith(".")


def test_two_to_twenty_readings_are_merged():
    for readings in ((1,), tuple(range(1, 22)), (0, 1)):
        with pytest.raises(Invalid):
            NewMerge.of({"readings": readings})


def test_an_image_over_the_limit_is_refused(sqlite_engine: Engine):
    numbers = held(sqlite_engine, three(PUNCHED))
    with unit_of_work(sqlite_engine, COMMAND, writes=False) as work, pytest.raises(TooLarge):
        choose(work, NewMerge(readings=numbers), len(PUNCHED) - 100)


def test_visitors_do_not_merge(sqlite_engine: Engine):
    numbers = held(sqlite_engine, three(PUNCHED))

    with pytest.raises(NotSignedIn):
        merge(sqlite_engine, numbers, VISITOR)


def test_the_same_merge_is_not_kept_twice_though_one_more_reading_makes_another(
    sqlite_engine: Engine,
):
    numbers = held(sqlite_engine, three(PUNCHED))
    first = merge(sqlite_engine, numbers)
    with pytest.raises(Conflict, match=f"merged reading {first.row.id}"):
        merge(sqlite_engine, numbers)
    with unit_of_work(sqlite_engine, COMMAND) as work:
        more = read(work, PUNCHED, place=3)
    second = merge(sqlite_engine, (*numbers, more))

    assert second.row.sha256 == first.row.sha256
    with unit_of_work(sqlite_engine, writes=False) as work:
        assert [each.id for each in merged.page(work, tape=TAPE).rows] == [2, 1]


def test_only_the_image_that_was_seen_is_kept(sqlite_engine: Engine):
    numbers = held(sqlite_engine, three(PUNCHED))
    seen = worked_out(sqlite_engine, numbers).sha256
    with pytest.raises(Conflict, match="that you saw"):
        merge(sqlite_engine, numbers, expected="0" * 64)

    assert merge(sqlite_engine, numbers, expected=seen).row.sha256 == seen


def test_readings_put_to_another_tape_meanwhile_are_not_kept(sqlite_engine: Engine):
    numbers = held(sqlite_engine, three(PUNCHED), tape=None)
    found = worked_out(sqlite_engine, numbers)
    with unit_of_work(sqlite_engine, COMMAND) as work:
        factories.tape(work, accession_number=TAPE)
        tapes.attach(work, TAPE, found.chosen.readings[0].sha256)
    with unit_of_work(sqlite_engine, COMMAND) as work, pytest.raises(Conflict, match="another"):
        merging.keep(work, found)


def test_merging_takes_no_lock_while_it_works(sqlite_engine: Engine):
    found = worked_out(sqlite_engine, held(sqlite_engine, three(PUNCHED)))
    with unit_of_work(sqlite_engine, COMMAND) as work:
        # Another holds the write lock while the readings are compared with what they resemble.
        read(work, HEX, tape=None)
        with unit_of_work(sqlite_engine, writes=False) as reading:
            met = merging.meet(reading, found)
    with unit_of_work(sqlite_engine, COMMAND) as work:
        assert merging.keep(work, met).row.id == 1


def test_candidates_are_the_passes_of_tapes_and_images(sqlite_engine: Engine):
    numbers = held(sqlite_engine, three(PUNCHED))
    merge(sqlite_engine, numbers)
    with unit_of_work(sqlite_engine, COMMAND) as work:
        receipt = factories.upload(work, HEX)
        loose, sha256 = receipt.reading_id, receipt.image.sha256
        found = candidates(work, [TAPE], [sha256])
        with pytest.raises(NotFound):
            candidates(work, ["9999.1"])

        assert [each.id for each in found] == [*numbers, loose]
        assert where_from(work, [*numbers, loose, 999]) == ((TAPE,), (sha256,))
    assert {each.format for each in found} == {"text", "intel-hex"}


def test_lists_and_disputes_come_a_page_at_a_time(sqlite_engine: Engine):
    numbers = held(sqlite_engine, three(PUNCHED))
    record = merge(sqlite_engine, numbers)
    with unit_of_work(sqlite_engine, writes=False) as work:
        source = record.sources[0].reading.sha256
        assert merged.page(work, image=source).rows == (record.row,)
        assert merged.page(work, image=record.row.sha256).rows == (record.row,)
        whole = merged.disputes(work, record.row.id)
        part = merged.disputes(work, record.row.id, page=2, page_size=2)
        none = merged.disputes(work, record.row.id, settled_by=SettledBy.EYE)

    assert whole.total == record.row.disputes
    assert part.rows == whole.rows[2:4]
    assert (none.rows, none.total) == ((), 0)
    frames = [each.dispute.frame for each in whole.rows if each.dispute.frame is not None]
    assert frames == sorted(frames)
    assert whole.rows[0].position_mm == round(frames[0] * 2.54, 2)


def test_what_is_not_held_is_not_found(sqlite_engine: Engine):
    record = merge(sqlite_engine, held(sqlite_engine, three(PUNCHED)))
    with unit_of_work(sqlite_engine, writes=False) as work:
        for missing in (999, 2**40):
            with pytest.raises(NotFound):
                merged.get(work, missing)
        with pytest.raises(NotFound, match="no dispute"):
            merged.dispute(work, record.row.id, 10**6)


def test_an_open_frame_is_counted_and_listed(sqlite_engine: Engine):
    record = merge(sqlite_engine, held(sqlite_engine, tied(PUNCHED)))
    with unit_of_work(sqlite_engine, writes=False) as work:
        rows = merged.disputes(work, record.row.id, settled_by=SettledBy.OPEN).rows

    assert record.row.open == 1
    (open_,) = rows
    assert open_.dispute.frame == 300
    assert set(open_.dispute.votes) == {PUNCHED[300], PUNCHED[300] ^ 3}


def test_a_volunteer_may_not_keep_what_an_archivist_settles(sqlite_engine: Engine):
    from server.catalog import settling
    from server.catalog.merging_values import Settling

    record = merge(sqlite_engine, held(sqlite_engine, tied(PUNCHED)))
    with unit_of_work(sqlite_engine, writes=False) as work:
        column = merged.disputes(work, record.row.id).rows[0].dispute.column
    ruling = Settling.of({"column": column, "ruling": "no-frame", "note": "a fold"})
    with unit_of_work(sqlite_engine, COMMAND, writes=False) as work:
        found = merging.work_out(settling.settling(work, 1, ruling, factories.LIMIT))
    with factories.acting(sqlite_engine, Role.VOLUNTEER) as work, pytest.raises(NotAllowed):
        merging.keep(work, found)
