import hashlib
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from threading import Barrier

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine, func, select

from server.catalog import accession, condition, events, images
from server.catalog.condition_values import NewReport
from server.catalog.errors import Invalid, NotFound, NotSignedIn, TooLarge
from server.catalog.events import EventType, ObjectKind
from server.catalog.records import Receipt, VerifiedBy
from server.catalog.vocabulary import Condition, Hazard
from server.catalog.work import VISITOR, Role, unit_of_work
from server.store.images import Decoding, ImageRow, Reading
from server.tape.codes.base import Parity
from server.tape.findings import CheckStatus
from server.tape.identify import DECODER_RELEASE
from server.tape.kinship import compare
from tests import factories

CHANGED = (*factories.LISTING[:1], "15 INPUT Q", *factories.LISTING[1:])


def examined(data: bytes, **others) -> accession.Examined:
    given = accession.Upload(**{"file_name": "x", "data": data} | others)
    return accession.examine(given, factories.LIMIT)


def take(engine: Engine, data: bytes, **others) -> Receipt:
    with factories.acting(engine, Role.VOLUNTEER) as work:
        return factories.upload(work, data, **others)


def count(engine: Engine, table: type) -> int | None:
    with unit_of_work(engine, writes=False) as work:
        return work.session.scalar(select(func.count()).select_from(table))


def test_an_empty_file_is_refused():
    with pytest.raises(Invalid, match="empty") as refused:
        examined(b"")

    assert list(refused.value.fields) == ["file"]


def test_a_file_over_the_limit_is_refused_with_the_limit_named():
    with pytest.raises(TooLarge, match="over the limit of 1,000 bytes") as refused:
        accession.examine(accession.Upload(file_name="x", data=bytes(1001)), 1000)

    assert refused.value.limit == 1000


def test_a_file_of_exactly_the_limit_is_taken():
    found = accession.examine(accession.Upload(file_name="x", data=bytes(1000)), 1000)

    assert len(found.decoded.image) == 1000


def test_a_hole_outside_the_levels_given_is_placed_in_frames_and_millimetres():
    with pytest.raises(Invalid) as refused:
        examined(bytes(100) + b"\x41" + bytes(100), levels=5)

    assert refused.value.where == "frame 100, 254.00 mm from the start"
    assert "at least 7" in refused.value.mend
    assert list(refused.value.fields) == ["levels"]


def test_a_file_changed_on_the_way_is_refused():
    data = factories.text_tape()
    with pytest.raises(Invalid) as refused:
        examined(data, sha256="00" * 32)

    assert list(refused.value.fields) == ["sha256"]
    assert hashlib.sha256(data).hexdigest() in refused.value.what
    assert examined(data, sha256=hashlib.sha256(data).hexdigest().upper()).notes == ()


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("C:\\tapes\\tide table.bin", "tide table.bin"),
        ("/srv/../etc/passwd", "passwd"),
        ("", "unnamed"),
        ("///", "unnamed"),
        ("a\x00b\n\u202ec.bin", "a_b__c.bin"),
        ("\ud800.bin", "ud800.bin"),
        ("x" * 5000, "x" * 200),
    ],
)
def test_no_file_name_is_refused_and_none_is_dangerous(given, kept):
    assert examined(b"A", file_name=given).file_name == kept


@pytest.mark.parametrize(
    ("beginning", "name"),
    [
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "JPEG"),
        (b"PK\x03\x04\x14\x00", "ZIP"),
        (b"%PDF-1.7", "PDF"),
        (b"\x89PNG\r\n\x1a\n", "PNG"),
    ],
)
def test_a_file_that_is_no_tape_is_taken_with_a_warning(beginning, name):
    found = examined(beginning + bytes(range(256)))

    assert [note for note in found.notes if name in note] == list(found.notes)
    assert len(found.notes) == 1


def test_a_text_file_of_a_computer_is_taken_with_a_note_on_what_it_lacks():
    found = examined("\r\n".join(factories.LISTING).encode())

    assert found.decoded.decoding.format == "text"
    assert "neither leader nor parity" in found.notes[0]


@pytest.mark.parametrize("parity", [Parity.EVEN, Parity.SPACE])
def test_a_tape_with_a_leader_has_no_note(parity):
    assert examined(factories.text_tape(parity=parity)).notes == ()


@settings(max_examples=60, deadline=None)
@given(st.binary(min_size=1, max_size=3000), st.sampled_from([None, 8]))
def test_any_bytes_are_examined(data, levels):
    found = examined(data, levels=levels)

    assert found.decoded.image.frames == data
    assert len(found.fingerprints) <= 64


def test_a_new_image_is_kept_whole(engine):
    data = factories.text_tape()
    receipt = take(engine, data, file_name="dir/tide.bin")

    assert (receipt.held, receipt.duplicate_of, receipt.kin) == (False, None, ())
    assert receipt.image.sha256 == hashlib.sha256(data).hexdigest()
    with unit_of_work(engine, writes=False) as work:
        assert images.get(work, receipt.image.sha256.upper()) == receipt.image
        assert images.frames(work, receipt.image.sha256) == data
        listing = images.listing(work, receipt.image.sha256)
    assert [line.text for line in listing] == list(factories.LISTING)
    assert receipt.image.lines == len(listing)
    assert receipt.image.title == "tide.bin"
    assert receipt.image.length_mm == round(len(data) * 2.54, 2)


def test_the_record_says_what_the_decoding_said(sqlite_engine):
    data = factories.damaged(factories.text_tape(), 100)
    found = examined(data)
    image = take(sqlite_engine, data).image

    assert image.findings == found.decoded.decoding.findings
    assert image.identified == found.decoded.identified
    assert image.data == found.decoded.decoding.data
    assert image.orientation == found.decoded.orientation
    assert image.check_status == CheckStatus.DAMAGED
    assert (image.leader_frames, image.trailer_frames) == (
        found.decoded.leader_frames,
        found.decoded.trailer_frames,
    )


def test_kin_met_before_are_not_met_again_and_those_since_are_not_missed(engine, monkeypatch):
    first = take(engine, factories.text_tape()).image
    found = examined(factories.text_tape(*CHANGED))
    with unit_of_work(engine, writes=False) as work:
        found = accession.meet(work, found)
    since = take(engine, factories.text_tape(*CHANGED[:-1])).image
    compared: list[str] = []

    def counted(held, new):
        compared.append(held.text)
        return compare(held, new)

    monkeypatch.setattr("server.catalog.kinship.compare", counted)
    with factories.acting(engine) as work:
        receipt = accession.accept(work, found)

    assert {each.sha256 for each in receipt.kin} == {first.sha256, since.sha256}
    assert len(compared) == 1
    assert len(found.met) == 1


def test_an_image_that_is_held_meets_nobody(sqlite_engine):
    take(sqlite_engine, factories.text_tape())
    found = examined(factories.text_tape())
    with unit_of_work(sqlite_engine, writes=False) as work:
        assert accession.meet(work, found) is found


def test_the_same_image_again_is_a_second_reading_of_it(engine):
    data = factories.text_tape()
    first = take(engine, data)
    second = take(engine, data, file_name="again.bin", reader="bench reader", read_on="2026-02-03")

    assert (second.held, second.duplicate_of) == (True, first.image.sha256)
    assert second.reading_id != first.reading_id
    readings = second.image.readings
    assert [each.file_name for each in readings] == ["reading.bin", "again.bin"]
    assert (readings[1].reader, readings[1].read_on) == ("bench reader", date(2026, 2, 3))
    assert (count(engine, ImageRow), count(engine, Decoding), count(engine, Reading)) == (1, 1, 2)


def test_other_levels_than_those_of_the_image_held_are_noted(sqlite_engine):
    noise = bytes(range(32)) * 20
    take(sqlite_engine, noise, levels=8)

    assert "as one of 8 levels" in take(sqlite_engine, noise, levels=6).notes[0]


@pytest.mark.parametrize(
    "other",
    [
        factories.text_tape(leader=200),
        factories.text_tape(parity=Parity.ODD),
        factories.text_tape()[::-1],
    ],
    ids=["longer leader", "odd parity", "read backwards"],
)
def test_the_same_content_on_another_tape_is_said_to_be_a_duplicate(sqlite_engine, other):
    first = take(sqlite_engine, factories.text_tape())
    second = take(sqlite_engine, other)

    assert (second.held, second.duplicate_of) == (False, first.image.sha256)
    assert [each.kinship for each in second.kin] == ["same-content"]


def test_blank_tapes_are_not_called_duplicates_of_each_other(sqlite_engine):
    take(sqlite_engine, bytes(100))

    assert take(sqlite_engine, bytes(200)).duplicate_of is None


def test_a_program_saved_again_with_a_line_more_is_near_with_one_line_added(engine):
    first = take(engine, factories.text_tape())
    second = take(engine, factories.text_tape(*CHANGED))

    assert second.duplicate_of is None
    kin = second.kin[0]
    assert (kin.sha256, kin.kinship) == (first.image.sha256, "near")
    assert (kin.added, kin.removed, kin.changed) == (1, 0, 0)
    assert kin.description.endswith("one line added")
    with unit_of_work(engine, writes=False) as work:
        assert images.kin(work, second.image.sha256) == second.kin
        seen_back = images.kin(work, first.image.sha256)[0]
        compared = images.comparison(work, first.image.sha256, second.image.sha256)
    assert (seen_back.added, seen_back.removed) == (0, 1)
    assert [row.right for row in compared.rows if row.kind == "added"] == [1]
    assert compared.kinship == kin


def test_an_upload_names_the_tape_it_was_read_from(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        number = factories.tape(work, title="Tides").accession_number
    receipt = take(sqlite_engine, factories.text_tape(), tape=number)

    assert receipt.tape == number
    assert [(each.accession_number, each.title) for each in receipt.image.tapes] == [
        (number, "Tides")
    ]
    assert (receipt.image.title, receipt.image.accession) == ("Tides", number)


def test_an_upload_for_a_tape_that_is_not_there_leaves_nothing(engine):
    with pytest.raises(Invalid) as refused:
        take(engine, factories.text_tape(), tape="1950.1")

    assert list(refused.value.fields) == ["tape"]
    assert count(engine, ImageRow) == 0


def test_a_quarantined_tape_brings_its_caution_along(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        number = factories.tape(work).accession_number
        condition.log(
            work,
            NewReport(
                tape=number,
                checked_on=date(2026, 1, 2),
                state=Condition.FRAGILE,
                hazard=Hazard.MOULD,
            ),
        )
    receipt = take(sqlite_engine, factories.text_tape(), tape=number)

    assert "Mould can harm people" in receipt.notes[0]


def test_a_sound_hex_tape_vouches_for_itself(sqlite_engine):
    image = take(sqlite_engine, factories.hex_tape()).image

    assert image.check_status == CheckStatus.SOUND
    assert image.verification.word == VerifiedBy.SELF_CHECKED
    assert image.verification.evidence[0].by == "decoder"


@pytest.mark.parametrize(
    "data",
    [
        factories.damaged(factories.hex_tape(), 100),
        factories.text_tape(),
        factories.damaged(factories.text_tape(), 100),
        bytes(range(256)),
    ],
    ids=["damaged hex", "text with parity", "damaged text", "unrecognised"],
)
def test_nothing_else_vouches_for_itself(sqlite_engine, data):
    verification = take(sqlite_engine, data).image.verification

    assert (verification.word, verification.verified) == (VerifiedBy.UNVERIFIED, False)


def test_only_a_volunteer_uploads(sqlite_engine):
    with unit_of_work(sqlite_engine, VISITOR) as work, pytest.raises(NotSignedIn):
        accession.accept(work, examined(b"A"))


def test_what_was_done_is_in_the_log(sqlite_engine):
    """Labels of the Library of Congress list of preservation event types (from memory)."""
    name = "odd\x00name\ud800.bin"
    sha256 = take(sqlite_engine, factories.hex_tape(), file_name=name).image.sha256
    with unit_of_work(sqlite_engine, writes=False) as work:
        log = {each.type: each for each in events.of(work, ObjectKind.IMAGE, sha256)}

    assert set(log) == {
        EventType.CAPTURE,
        EventType.INGESTION,
        EventType.DIGEST,
        EventType.IDENTIFICATION,
        EventType.VALIDATION,
        EventType.VERIFICATION,
    }
    assert log[EventType.CAPTURE].facts["file_name"] == "odd\x00name\\ud800.bin"
    assert log[EventType.DIGEST].facts == {"algorithm": "SHA-256", "value": sha256}
    assert log[EventType.VALIDATION].outcome == "success"
    assert log[EventType.IDENTIFICATION].by == f"decoder {DECODER_RELEASE}"


def test_odd_names_and_noise_are_kept_by_both_databases(engine):
    noise = bytes(range(256)) * 40
    receipt = take(engine, noise, file_name="nul\x00 and \ud800 half")

    assert receipt.image.format == "unrecognised"
    with unit_of_work(engine, writes=False) as work:
        assert images.frames(work, receipt.image.sha256) == noise


def test_of_two_uploads_at_once_one_is_first_and_both_readings_are_kept(engine):
    together = Barrier(2)
    data = factories.text_tape()

    def send(name: str) -> Receipt:
        found = examined(data, file_name=name)
        together.wait()
        with factories.acting(engine, Role.VOLUNTEER) as work:
            return accession.accept(work, found)

    for attempt in range(5):
        data = factories.text_tape(f"10 REM {attempt}")
        with ThreadPoolExecutor(2) as pool:
            receipts = list(pool.map(send, ["one", "two"]))

        assert sorted(each.held for each in receipts) == [False, True]
        assert len({each.reading_id for each in receipts}) == 2
        with unit_of_work(engine, writes=False) as work:
            image = images.get(work, receipts[0].image.sha256)
        assert sorted(each.file_name for each in image.readings) == ["one", "two"]


def test_two_versions_that_come_in_at_once_see_each_other(engine):
    together = Barrier(2)

    def send(lines: list[str]) -> str:
        found = examined(factories.text_tape(*lines))
        together.wait()
        with factories.acting(engine, Role.VOLUNTEER) as work:
            return accession.accept(work, found).image.sha256

    for attempt in range(5):
        lines = [f'{10 * at} PRINT "LOCK {at * attempt}, GATE {at}"' for at in range(1, 30)]
        with ThreadPoolExecutor(2) as pool:
            one, other = pool.map(send, [lines, [*lines, "999 END"]])

        with unit_of_work(engine, writes=False) as work:
            assert [each.sha256 for each in images.kin(work, one)][:1] == [other]
            assert [each.sha256 for each in images.kin(work, other)][:1] == [one]


@pytest.mark.parametrize("sha256", ["0" * 64, "", "x", "é" * 64, "\x00"])
def test_an_image_that_is_not_held_is_not_found(engine, sha256):
    with unit_of_work(engine, writes=False) as work:
        for ask in (images.get, images.frames, images.listing, images.kin):
            with pytest.raises(NotFound):
                ask(work, sha256)
