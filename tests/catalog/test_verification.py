import pytest

from server.catalog import downloads, events, verification
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound, NotVerified
from server.catalog.events import EventType, ObjectKind
from server.catalog.records import VerifiedBy
from server.catalog.work import VISITOR, Role, unit_of_work
from tests import factories


def held(engine, data: bytes, **others) -> str:
    with factories.acting(engine) as work:
        return factories.upload(work, data, **others).image.sha256


def test_an_archivist_vouches_for_an_image(engine):
    sha256 = held(engine, factories.text_tape())
    ada = factories.person(engine, Role.ARCHIVIST, "Ada")
    with unit_of_work(engine, ada) as work:
        found = verification.proof_read(work, sha256, "read against the box")
    with unit_of_work(engine, ada, writes=False) as work:
        assert verification.state(work, sha256) == found
        newest = events.of(work, ObjectKind.IMAGE, sha256)[0]

    assert (found.word, found.verified) == (VerifiedBy.PROOF_READ, True)
    assert [(each.by, each.note) for each in found.evidence] == [("Ada", "read against the box")]
    assert (newest.type, newest.by) == (EventType.VERIFICATION, "Ada")


def test_the_strongest_evidence_is_the_word(sqlite_engine):
    sha256 = held(sqlite_engine, factories.hex_tape())
    with factories.acting(sqlite_engine) as work:
        found = verification.proof_read(work, sha256, "dumped and read")

    assert found.word == VerifiedBy.PROOF_READ
    assert [each.kind for each in found.evidence] == [
        VerifiedBy.SELF_CHECKED,
        VerifiedBy.PROOF_READ,
    ]


def test_nobody_vouches_twice_for_one_image(sqlite_engine):
    sha256 = held(sqlite_engine, factories.text_tape())
    ada, bea = (factories.person(sqlite_engine, Role.ARCHIVIST, name) for name in ("Ada", "Bea"))
    with unit_of_work(sqlite_engine, ada) as work:
        verification.proof_read(work, sha256, "once")
        with pytest.raises(Conflict):
            verification.proof_read(work, sha256, "twice")
    with unit_of_work(sqlite_engine, bea) as work:
        assert len(verification.proof_read(work, sha256, "me too").evidence) == 2


def test_vouching_needs_an_archivist_a_note_and_an_image(sqlite_engine):
    sha256 = held(sqlite_engine, factories.text_tape())
    with factories.acting(sqlite_engine, Role.VOLUNTEER) as work, pytest.raises(NotAllowed):
        verification.proof_read(work, sha256, "fine")
    with factories.acting(sqlite_engine) as work:
        with pytest.raises(Invalid) as refused:
            verification.proof_read(work, sha256, " ")
        with pytest.raises(NotFound):
            verification.proof_read(work, "0" * 64, "fine")

    assert list(refused.value.fields) == ["note"]


def test_every_word_has_a_sentence():
    assert set(verification.SENTENCES) == set(VerifiedBy)


def test_a_verified_image_is_given_to_anybody_and_nobody_is_noted(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.4")
    data = factories.hex_tape()
    sha256 = held(engine, data, tape="1978.4")
    ada = factories.person(engine, Role.VOLUNTEER, "Ada")
    with unit_of_work(engine, ada, writes=False) as work:
        found = downloads.download(work, sha256)
    with unit_of_work(engine, writes=False) as work:
        newest = events.of(work, ObjectKind.IMAGE, sha256)[0]

    assert (found.file_name, found.frames, found.verified) == ("1978.4.tape", data, True)
    assert (newest.type, newest.by) == (EventType.DISSEMINATION, "anybody")
    assert "Ada" not in repr(newest)


def test_an_unverified_image_is_given_only_to_who_knows_it(sqlite_engine):
    data = factories.text_tape()
    sha256 = held(sqlite_engine, data)
    with unit_of_work(sqlite_engine, VISITOR, writes=False) as work:
        with pytest.raises(NotVerified):
            downloads.download(work, sha256)
        found = downloads.download(work, sha256, acknowledged=True)

    assert (found.file_name, found.frames, found.verified) == (
        f"{sha256[:12]}-unverified.tape",
        data,
        False,
    )


def test_an_image_that_is_not_held_cannot_be_given(sqlite_engine):
    with unit_of_work(sqlite_engine, writes=False) as work, pytest.raises(NotFound):
        downloads.download(work, "0" * 64)
