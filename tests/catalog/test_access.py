"""Who sees what, and what may open or close it."""

import pytest
from sqlalchemy import Engine, select
from sqlmodel import col

from server.catalog import events, images, numbering, programs, queues, tapes
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.program_values import NewVersion, ProgramChange
from server.catalog.queues import held_in
from server.catalog.tape_values import NewTape, TapeChange, TapeQuery
from server.catalog.vocabulary import Access
from server.catalog.work import Role
from server.store.kin import Kinship
from tests import factories
from tests.factories import acting

CLOSED = "1978.1"
OPEN = "1978.2"
FRAMES = factories.text_tape()


@pytest.fixture
def sha256(engine: Engine) -> str:
    """The image of a restricted tape; there is an open tape too, that was not read."""
    with acting(engine) as work:
        factories.tape(work, title="Minutes", accession_number=CLOSED, access=Access.RESTRICTED)
        factories.tape(work, title="Open day", accession_number=OPEN)
        return factories.upload(work, FRAMES, tape=CLOSED).image.sha256


def set_access(engine: Engine, number: str, access: Access) -> None:
    with acting(engine) as work:
        tapes.change(work, number, TapeChange(access=access))


def is_seen(engine: Engine, sha256: str, role: Role) -> bool:
    with acting(engine, role) as work:
        try:
            images.get(work, sha256)
        except NotFound:
            return False
        return True


@pytest.mark.parametrize(
    ("access", "seen_by"),
    [
        (Access.PUBLIC, list(Role)),
        (Access.MEMBERS, [Role.VOLUNTEER, Role.ARCHIVIST, Role.ADMINISTRATOR]),
        (Access.RESTRICTED, [Role.ARCHIVIST, Role.ADMINISTRATOR]),
    ],
)
def test_image_is_seen_by_those_to_whom_its_tape_is_open(engine, sha256, access, seen_by):
    set_access(engine, CLOSED, access)

    assert [role for role in Role if is_seen(engine, sha256, role)] == seen_by


def test_image_read_from_an_open_tape_too_is_open(engine, sha256):
    with acting(engine) as work:
        factories.upload(work, FRAMES, tape=OPEN)

    assert is_seen(engine, sha256, Role.VISITOR)
    with acting(engine, Role.VISITOR) as work:
        record = images.get(work, sha256)
        assert [tape.accession_number for tape in record.tapes] == [OPEN]
        assert [reading.tape for reading in record.readings] == [OPEN]
        assert CLOSED not in str(record)


def test_lists_and_their_counts_leave_out_what_is_closed(engine, sha256):
    with acting(engine, Role.VOLUNTEER) as work:
        found = tapes.page(work, TapeQuery())

        assert [row.accession_number for row in found.rows] == [OPEN]
        assert found.total == 1
        assert [(each.value, each.count) for each in found.facets["format"]] == [("no-image", 1)]
        assert held_in.told(work, queues.QUEUES["unread"], 5).count == 1


def test_kin_that_are_closed_are_recorded_but_not_shown(engine, sha256):
    with acting(engine, Role.VOLUNTEER) as work:
        near = factories.upload(work, factories.damaged(FRAMES, 90), tape=OPEN)

        assert near.kin == ()
        assert images.kin(work, near.image.sha256) == ()
    with acting(engine) as work:
        assert work.session.scalar(select(col(Kinship.kind))) is not None
        assert [each.sha256 for each in images.kin(work, near.image.sha256)] == [sha256]


def test_volunteer_who_uploads_what_is_closed_to_them_is_sent_to_an_archivist(engine, sha256):
    with (
        pytest.raises(NotAllowed, match="closed to your role"),
        acting(engine, Role.VOLUNTEER) as work,
    ):
        factories.upload(work, FRAMES)


def test_only_archivists_say_who_may_see_a_tape_and_what_rights_there_are(engine, sha256):
    for given in (
        {"access": Access.MEMBERS},
        {"licence": "CC0-1.0"},
        {"rights_uri": "http://rightsstatements.org/vocab/CNE/1.0/"},
        {"acquisition_note": "Promised back."},
    ):
        with acting(engine, Role.VOLUNTEER) as work:
            with pytest.raises(NotAllowed):
                tapes.change(work, OPEN, TapeChange.of(given))
            with pytest.raises(NotAllowed):
                tapes.create(work, NewTape.of({"title": "Another", **given}))


def test_what_is_settled_of_rights_and_access_is_a_policy_assignment_in_the_log(engine, sha256):
    given = {"access": Access.MEMBERS, "licence": "CC0-1.0", "notes": "Seen by the committee."}
    with acting(engine) as work:
        tapes.change(work, CLOSED, TapeChange.of(given))
        (settled,) = (
            event
            for event in events.of(work, ObjectKind.TAPE, CLOSED)
            if event.type is EventType.POLICY
        )

    assert settled.detail == "access: members; licence: CC0-1.0"
    assert settled.facts == {"access": "members", "licence": "CC0-1.0"}


def test_donor_is_told_to_members_and_private_notes_to_archivists(engine):
    with acting(engine) as work:
        given = {"acquired_from": "A. Donor", "acquisition_note": "In the safe."}
        factories.tape(work, accession_number=OPEN, **given)
    told = {}
    for role in Role:
        with acting(engine, role) as work:
            tape = tapes.get(work, OPEN)
            told[role] = tape.acquired_from, tape.acquisition_note

    assert told == {
        Role.VISITOR: (None, None),
        Role.VOLUNTEER: ("A. Donor", None),
        Role.ARCHIVIST: ("A. Donor", "In the safe."),
        Role.ADMINISTRATOR: ("A. Donor", "In the safe."),
    }


def test_only_an_archivist_opens_an_image_by_putting_it_to_an_open_tape(engine, sha256):
    set_access(engine, CLOSED, Access.MEMBERS)
    with acting(engine, Role.VOLUNTEER) as work, pytest.raises(NotAllowed):
        tapes.attach(work, OPEN, sha256)
    assert not is_seen(engine, sha256, Role.VISITOR)

    with acting(engine) as work:
        tapes.attach(work, OPEN, sha256)
    assert is_seen(engine, sha256, Role.VISITOR)


def test_closed_image_is_no_version_of_a_more_open_program(engine, sha256):
    with acting(engine) as work:
        program = factories.program(work)
        version = NewVersion(label="1", sha256=sha256)
        with pytest.raises(Invalid, match="the image would be as open as the program"):
            programs.add_version(work, program.id, version)

        programs.change(work, program.id, ProgramChange(access=Access.RESTRICTED))
        programs.add_version(work, program.id, version)
    assert not is_seen(engine, sha256, Role.VISITOR)

    with acting(engine) as work:
        programs.change(work, program.id, ProgramChange(access=Access.PUBLIC))
    assert is_seen(engine, sha256, Role.VISITOR)


def test_tape_of_a_closed_program_does_not_tell_its_title(engine):
    with acting(engine) as work:
        program = factories.program(work, title="Secret sums", access=Access.MEMBERS)
        factories.tape(work, title="Sums", accession_number=OPEN, program=program.id)
    with acting(engine, Role.VISITOR) as work:
        tape, found = tapes.get(work, OPEN), tapes.page(work, TapeQuery())

        assert (tape.program, tape.program_title) == (None, None)
        assert (found.rows[0].program, found.rows[0].program_title) == (None, None)
        assert found.facets["program"] == ()


def test_number_that_a_tape_once_had_is_given_to_no_other(engine):
    with acting(engine) as work:
        first = factories.tape(work).accession_number
        tapes.change(work, first, TapeChange(accession_number="1977.5"))
        with pytest.raises(Conflict):
            factories.tape(work, accession_number=first)
        second = factories.tape(work).accession_number
        assert second != first
        with pytest.raises(Conflict):
            tapes.change(work, second, TapeChange(accession_number=first))

        assert tapes.change(work, "1977.5", TapeChange(accession_number=first)).revision == 3
        assert numbering.number_now(work, "1977.5") == first


def test_next_number_counts_those_that_are_closed_to_whoever_enters_a_tape(engine):
    with acting(engine) as work:
        number = factories.tape(work, access=Access.RESTRICTED).accession_number
    with acting(engine, Role.VOLUNTEER) as work:
        year, item = factories.tape(work).accession_number.split(".")

        assert f"{year}.{int(item) - 1}" == number
