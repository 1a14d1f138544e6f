import pytest
from sqlalchemy import Engine

from server.catalog import events, images, programs, verification
from server.catalog.errors import Conflict, NotAllowed, NotFound
from server.catalog.events import ObjectKind
from server.catalog.program_values import Attribution, NewVersion, ProgramChange, ProgramQuery
from server.catalog.records import TapeLink, VerifiedBy, VersionLink
from server.catalog.work import Actor, Role, Work, unit_of_work
from server.tape.findings import CheckStatus
from tests import factories


def titles(work: Work, **query) -> list[str]:
    return [row.title for row in programs.page(work, ProgramQuery.of(query)).rows]


def test_a_program_is_kept_as_it_was_given(engine):
    given = {
        "title": "Tide table",
        "language": "BASIC",
        "variant_titles": ("Tides", "High water"),
        "machine": "8080 machine",
        "memory": "8 KiB",
        "peripherals": ("teleprinter",),
        "instructions": "RUN, then the day of the month.",
        "faults": "Wrong after 1999.",
        "attributions": (
            Attribution(about="author", note="Somebody at the harbour", certainty="probable"),
        ),
        "description": "Prints a day of tides.",
        "rights": "http://rightsstatements.org/vocab/UND/1.0/",
    }
    with factories.acting(engine) as work:
        made = factories.program(work, **given)
    with unit_of_work(engine, writes=False) as work:
        program = programs.get(work, made.id)

    assert {name: getattr(program, name) for name in given} == given
    assert (program.versions, program.tapes, program.revision) == ((), (), 1)


def test_only_an_archivist_keeps_programs(sqlite_engine):
    with unit_of_work(sqlite_engine, Actor(None, "v", Role.VOLUNTEER)) as work:
        with pytest.raises(NotAllowed):
            factories.program(work)
        with pytest.raises(NotAllowed):
            programs.change(work, 1, ProgramChange(title="x"))
        with pytest.raises(NotAllowed):
            programs.add_version(work, 1, NewVersion(label="1", sha256="0" * 64))


@pytest.mark.parametrize("program", [0, 7, -1, 2**70])
def test_a_program_that_is_not_there_is_not_found(engine: Engine, program):
    with unit_of_work(engine, writes=False) as work, pytest.raises(NotFound):
        programs.get(work, program)


def test_a_change_is_logged_and_a_stale_one_refused(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        program = factories.program(work, machine="8080 machine")
        changed = programs.change(work, program.id, ProgramChange(machine=""), 1)
        with pytest.raises(Conflict) as refused:
            programs.change(work, program.id, ProgramChange(machine="Z80 machine"), 1)

        assert (changed.machine, changed.title, changed.revision) == ("", "Tide table", 2)
        assert refused.value.revision == 2
        log = events.of(work, ObjectKind.PROGRAM, program.id)
        assert log[0].facts["before"] == {"machine": "8080 machine"}


def test_a_version_names_the_image_that_is_punched_from(engine):
    with factories.acting(engine) as work:
        program = factories.program(work)
        number = factories.tape(work, program=program.id, accession_number="1978.4")
        old = factories.upload(work, factories.text_tape()).image
        new = factories.upload(work, factories.hex_tape()).image
        programs.add_version(work, program.id, NewVersion(label="1", sha256=old.sha256))
        program = programs.add_version(
            work, program.id, NewVersion(label="2", sha256=new.sha256.upper(), note="faster")
        )
        verification.proof_read(work, old.sha256, "against the box")
        program = programs.get(work, program.id)
        second, first = program.versions

        assert (second.label, second.sha256, second.note) == ("2", new.sha256, "faster")
        assert (second.format, second.check_status) == ("intel-hex", CheckStatus.SOUND)
        assert [first.verification, second.verification] == [
            VerifiedBy.PROOF_READ,
            VerifiedBy.SELF_CHECKED,
        ]
        assert program.tapes == (TapeLink(number.accession_number, "Tide table"),)
        assert images.get(work, old.sha256).versions == (
            VersionLink(program.id, "Tide table", "1", first.id),
        )
        assert images.get(work, old.sha256).title == "Tide table, 1"


def test_a_label_and_an_image_are_used_once(engine):
    with factories.acting(engine) as work:
        program = factories.program(work)
        one = factories.upload(work, factories.text_tape()).image.sha256
        two = factories.upload(work, factories.hex_tape()).image.sha256
        programs.add_version(work, program.id, NewVersion(label="1", sha256=one))
        with pytest.raises(Conflict) as label_taken:
            programs.add_version(work, program.id, NewVersion(label="1", sha256=two))
        with pytest.raises(Conflict) as image_taken:
            programs.add_version(work, program.id, NewVersion(label="2", sha256=one))
        with pytest.raises(NotFound):
            programs.add_version(work, program.id, NewVersion(label="2", sha256="0" * 64))

        assert list(label_taken.value.fields) == ["label"]
        assert list(image_taken.value.fields) == ["sha256"]
        assert len(programs.get(work, program.id).versions) == 1


def test_programs_are_found_by_what_is_said_of_them(engine):
    with factories.acting(engine) as work:
        factories.program(work, title="tides", description="Harbour levels.")
        factories.program(work, title="Moon", language="BASIC", machine="6800 machine")
        factories.program(work, title="Zoo", memory="100% of it")

        assert titles(work) == ["Moon", "tides", "Zoo"]
        assert titles(work, q="HARBOUR") == ["tides"]
        assert titles(work, q="basic") == ["Moon"]
        assert titles(work, q="6800") == ["Moon"]
        assert titles(work, q="%") == ["Zoo"]
        assert titles(work, q="nothing") == []


def test_a_list_of_programs_counts_versions_and_tapes_page_by_page(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        first = factories.program(work, title="A")
        factories.program(work, title="B")
        factories.tape(work, program=first.id)
        factories.tape(work, program=first.id)
        sha256 = factories.upload(work, factories.text_tape()).image.sha256
        programs.add_version(work, first.id, NewVersion(label="1", sha256=sha256))
        page = programs.page(work, ProgramQuery(page_size=1))
        second = programs.page(work, ProgramQuery(page_size=1, page=2))

    assert [(row.title, row.versions, row.tapes) for row in page.rows] == [("A", 1, 2)]
    assert [row.title for row in second.rows] == ["B"]
    assert (page.total, page.pages) == (2, 2)
