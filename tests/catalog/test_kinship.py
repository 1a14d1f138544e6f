from random import Random

import numpy as np
import pytest
from sqlalchemy import Engine, func, select
from sqlmodel import col

from server.catalog import kinship
from server.catalog.held import known
from server.catalog.kinship import KEPT, between, find, keep, of, record
from server.catalog.records import KinRecord
from server.catalog.work import Role, Work
from server.store.fingerprints import MOST
from server.store.images import ImageRow
from server.store.kin import Fingerprint
from server.store.kin import Kinship as KinshipRow
from server.tape.basic.program import program_from_text
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.formats.s_record import SRecord
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.kinship import Kinship, NormalForm, compare, fingerprints, normal_form
from tests import factories
from tests.bench.programs import line_added, misread, program

LINES = program(Random(1), 40)
OTHER = program(Random(6), 40)
MORE = ['5 INPUT"NUMBER";N:X=RND(-N)', *LINES]


def text(lines: list[str], leader: int = 60) -> bytes:
    return factories.text_tape(*lines, leader=leader)


def crunched(lines: list[str]) -> bytes:
    return CrunchedBasic().build(program_from_text("\n".join(lines))).frames


def s_record(start: int, data: bytes) -> bytes:
    return SRecord().build(HexProgram({start: data}, entry_address=start)).frames


def told(kin: tuple[KinRecord, ...]) -> list[tuple[str, int, int, int]]:
    return [(each.kinship, each.added, each.removed, each.changed) for each in kin]


def image_id(work: Work, sha256: str) -> int:
    return known(
        work.session.scalar(select(col(ImageRow.id)).where(col(ImageRow.sha256) == sha256))
    )


@pytest.mark.parametrize("first", [text, crunched])
@pytest.mark.parametrize("second", [text, crunched])
def test_a_program_saved_again_after_a_line_was_added_is_near(engine: Engine, first, second):
    with factories.acting(engine, Role.VOLUNTEER) as work:
        old = factories.upload(work, first(LINES))
        new = factories.upload(work, second(MORE))
        back = of(work, image_id(work, old.image.sha256))

    assert told(new.kin) == [("near", 1, 0, 0)]
    assert new.kin[0].sha256 == old.image.sha256
    assert new.kin[0].description.endswith(" %: one line added")
    assert told(back) == [("near", 0, 1, 0)]


def test_kin_are_told_nearest_first_with_the_name_they_go_by(engine: Engine):
    with factories.acting(engine) as work:
        far = factories.upload(work, text(misread(Random(2), LINES, 9)), file_name="far.bin")
        near = factories.upload(work, text(MORE), file_name="near.bin")
        same = factories.upload(work, crunched(LINES), file_name="same.bin")
        factories.tape(work, accession_number="2026.77", title="Harbour lights")
        factories.upload(work, text(LINES, leader=99), tape="2026.77")
        kin = factories.upload(work, text(LINES)).kin

    assert [(each.kinship, each.title) for each in kin] == [
        ("same-content", "Harbour lights"),
        ("same-listing", "same.bin"),
        ("near", "near.bin"),
        ("near", "far.bin"),
    ]
    assert kin[0].accession == "2026.77"
    assert [each.sha256 for each in kin[1:]] == [x.image.sha256 for x in (same, near, far)]
    assert [each.similarity for each in kin[:2]] == [1.0, 1.0]


def test_the_same_memory_in_the_other_hexadecimal_format_is_the_same_listing(engine: Engine):
    with factories.acting(engine) as work:
        factories.upload(work, factories.hex_tape())
        same = factories.upload(work, s_record(0x100, bytes(range(64))))
        patched = factories.upload(work, s_record(0x100, bytes([*range(60), 9, 9, 9, 9])))

    assert told(same.kin) == [("same-listing", 0, 0, 0)]
    assert told(patched.kin) == [("near", 0, 0, 4)] * 2
    assert patched.kin[0].description == "93.8 %: 4 addresses changed"


def test_frames_nobody_recognises_have_kin_by_their_frames(engine: Engine):
    noise = Random(3).randbytes(3000)
    with factories.acting(engine) as work:
        factories.upload(work, noise)
        kin = factories.upload(work, noise[:700] + noise[701:]).kin

    assert told(kin) == [("near", 0, 1, 0)]
    assert kin[0].description == "99.9 %: one frame removed"


def test_unrelated_images_and_blank_tapes_have_no_kin(engine: Engine):
    with factories.acting(engine) as work:
        for data in (bytes(100), bytes(120), text(LINES), text(OTHER)):
            assert factories.upload(work, data).kin == ()


def test_no_more_than_the_nearest_are_kept(sqlite_engine: Engine):
    random = Random(4)
    with factories.acting(sqlite_engine) as work:
        for leader in range(KEPT + 5):
            factories.upload(work, text(line_added(random, LINES), leader=30 + leader))
        kin = factories.upload(work, text(LINES)).kin

    assert len(kin) == KEPT
    assert {each.kinship for each in kin} == {"near"}


def test_recording_again_replaces_what_was_recorded(engine: Engine):
    with factories.acting(engine) as work:
        old = factories.upload(work, text(LINES))
        new = image_id(work, factories.upload(work, text(MORE)).image.sha256)
        form = normal_form(decode(text(MORE)).decoding)
        hashes = fingerprints(form)
        found = find(work, form, hashes, besides=new)
        for _ in range(2):
            keep(work, new, form, hashes)
            record(work, new, found)
        again = of(work, new)
        rows = work.session.scalar(select(func.count()).select_from(KinshipRow))
        mine = col(Fingerprint.image_id) == new
        held = work.session.scalars(select(col(Fingerprint.hash)).where(mine)).all()

    assert sorted(held) == hashes.tolist()
    assert [each.image_id for each in found] == [image_id(work, old.image.sha256)]
    assert told(again) == [("near", 1, 0, 0)]
    assert rows == 1


def test_an_older_image_decoded_again_finds_the_newer_one(engine: Engine):
    with factories.acting(engine) as work:
        old = image_id(work, factories.upload(work, text(LINES)).image.sha256)
        factories.upload(work, text(MORE))
        form = normal_form(decode(text(LINES)).decoding)
        hashes = fingerprints(form)
        record(work, old, find(work, form, hashes, besides=old))

        assert told(of(work, old)) == [("near", 0, 1, 0)]


def test_without_fingerprints_nothing_is_asked(sqlite_engine: Engine):
    form = normal_form(decode(bytes(50)).decoding)
    with factories.acting(sqlite_engine) as work:
        assert find(work, form, np.empty(0, np.int64)) == ()


def test_any_two_images_can_be_held_against_each_other(engine: Engine):
    with factories.acting(engine) as work:
        ids = [
            image_id(work, factories.upload(work, data).image.sha256)
            for data in (text(LINES), text(MORE), text(OTHER))
        ]
        same = between(work, ids[0], ids[0])
        near = between(work, ids[1], ids[0])
        far = between(work, ids[2], ids[0])

    assert (same.kinship, same.description) == ("same-image", "the same image")
    assert told((near,)) == [("near", 1, 0, 0)]
    assert told((far,)) == [("unrelated", len(OTHER), len(LINES), 0)]


def test_only_the_likeliest_are_compared(sqlite_engine: Engine, monkeypatch: pytest.MonkeyPatch):
    random = Random(7)
    compared = []

    def counted(*forms: NormalForm) -> Kinship:
        compared.append(forms)
        return compare(*forms)

    with factories.acting(sqlite_engine) as work:
        for _ in range(40):
            factories.upload(work, text(program(random, 30)))
        factories.upload(work, text(LINES))
        monkeypatch.setattr(kinship, "compare", counted)
        kin = factories.upload(work, text(MORE)).kin

    assert len(kin) == 1
    assert len(compared) <= MOST
