"""Load sheets: made of the decoding, written on, compared, and put back."""

from datetime import date

import pytest
from sqlalchemy import Engine

from server.catalog import condition, events, load_sheets, load_subject, programs
from server.catalog.condition_values import NewReport
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound, NotSignedIn
from server.catalog.events import ObjectKind
from server.catalog.load_sheet_values import NewTexts, SheetOf
from server.catalog.program_values import NewVersion, ProgramChange
from server.catalog.vocabulary import Condition, Hazard
from server.catalog.work import Role, Work, unit_of_work
from server.tape.blocks.program import BlockProgram
from server.tape.cpu.notation import Notation
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.bin12 import Bin12
from server.tape.machine_notation import (
    HEXADECIMAL,
    OCTAL,
    OCTAL_WORDS,
    SPLIT_OCTAL,
    Writing,
)
from server.tape.twelve_bit.program import WordProgram
from tests import factories, punched

WORDS = Bin12().build(WordProgram({0o200: bytes(range(16)) * 2})).frames
PAIRS = AbsoluteBlock().build(BlockProgram({0o1000: bytes(range(64))})).frames


def image(work: Work, frames: bytes = b"") -> SheetOf:
    sha256 = factories.upload(work, frames or factories.hex_tape()).image.sha256
    return SheetOf(sha256=sha256)


def version(work: Work, of: SheetOf, label: str = "1", **program) -> SheetOf:
    made = factories.program(work, **program)
    new = NewVersion(label=label, sha256=of.sha256)
    added = programs.add_version(work, made.id, new)
    return SheetOf(program=made.id, version=added.versions[0].id)


def write(work: Work, of: SheetOf, revision: int | None = None, **texts):
    return load_sheets.put(work, of, NewTexts(**texts), revision)


def test_a_sheet_that_nobody_wrote_is_made_of_the_decoding(engine: Engine):
    with factories.acting(engine) as work:
        of = version(work, image(work), title="Lamps", machine="8080 machine")
        sheet = load_sheets.get(work, of)

    assert (sheet.heading, sheet.machine) == ("Lamps, version 1", "8080 machine")
    assert (sheet.revision, sheet.changed, sheet.by, sheet.written) == (1, None, "", frozenset())
    assert "Intel hexadecimal" in sheet.texts["needs"]
    assert sheet.lines("steps")[-1].endswith("with the address 0100.")
    assert sheet.writing == HEXADECIMAL


def test_what_people_write_is_kept_and_the_rest_is_still_made(engine: Engine):
    ione = factories.person(engine, Role.VOLUNTEER, "Ione")
    with factories.acting(engine) as work:
        of = version(work, image(work))
    with unit_of_work(engine, ione) as work:
        written = write(work, of, 1, steps="1. Press GO\r\n\r\n2) Wait  \n")
    with unit_of_work(engine, ione, writes=False) as work:
        sheet = load_sheets.get(work, of)

    assert sheet == written
    assert sheet.lines("steps") == ("Press GO", "Wait")
    assert "Intel hexadecimal" in sheet.texts["needs"]
    assert (sheet.revision, sheet.by, sheet.written) == (2, "Ione", frozenset({"steps"}))


def test_texts_sent_back_untouched_go_on_being_made(sqlite_engine: Engine):
    with factories.acting(sqlite_engine, Role.VOLUNTEER) as work:
        of = image(work)
        offered = load_sheets.get(work, of).texts
        same = load_sheets.put(work, of, NewTexts(**offered), 1)
        other = load_sheets.put(work, of, NewTexts(**offered, notation=Notation.SPLIT_OCTAL), 1)

    assert (same.revision, other.revision, other.written) == (1, 2, frozenset())
    assert other.writing == SPLIT_OCTAL
    assert other.lines("steps")[-1].endswith("with the address 001 000.")


def test_a_second_writer_is_told_that_the_first_was_there(engine: Engine):
    with factories.acting(engine) as work:
        of = image(work)
        write(work, of, 1, worked="A lamp")
    with factories.acting(engine) as work, pytest.raises(Conflict) as refused:
        write(work, of, 1, worked="Two lamps")
    with factories.acting(engine) as work:
        assert load_sheets.get(work, of).texts["worked"] == "A lamp"
        assert write(work, of, None, worked="Three").revision == 3

    assert refused.value.revision == 2


def test_what_says_the_same_makes_no_revision(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        of = image(work)
        write(work, of, worked="A lamp")

        assert write(work, of, worked="A lamp ", note="again").revision == 2


def test_the_history_shows_what_was_put_in_and_taken_out(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        of = image(work)
        write(work, of, steps="Load\nStart", note="ours")
        write(work, of, steps="Load\nWait\nStart it", cautions="Hot lamp")
        newest, second, first = load_sheets.history(work, of)

    changed = {change.field: [row.kind for row in change.rows] for change in newest.changes}
    assert changed == {"steps": ["equal", "added", "changed"], "cautions": ["added"]}
    assert (second.note, second.texts["steps"]) == ("ours", "Load\nStart")
    assert [change.field for change in second.changes] == ["steps"]
    assert (first.revision, first.made, first.changes) == (1, None, ())


def test_an_earlier_text_is_put_back_as_a_revision_of_its_own(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        of = image(work)
        made = load_sheets.get(work, of).texts
        write(work, of, worked="A lamp")
        write(work, of, worked="Two lamps")
        back = load_sheets.go_back(work, of, 2, 3)
        again = load_sheets.go_back(work, of, 1, 4)
        notes = [each.note for each in load_sheets.history(work, of)]

        with pytest.raises(NotFound, match="never had a revision 9"):
            load_sheets.go_back(work, of, 9)
        with pytest.raises(Conflict):
            load_sheets.go_back(work, of, 2, 3)

    assert (back.revision, back.texts["worked"]) == (4, "A lamp")
    assert (again.revision, again.texts, again.written) == (5, made, frozenset())
    assert notes == ["as in revision 1", "as in revision 2", "", "", ""]


def test_a_version_begins_with_what_was_written_for_its_image(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        plain = image(work)
        write(work, plain, steps="Ask Ione", notation=Notation.OCTAL)
        of = version(work, plain)
        begun = load_sheets.get(work, of)
        own = write(work, of, 1, worked="It hums")
        write(work, plain, steps="Ask Aksel", notation=Notation.OCTAL)
        later = load_sheets.get(work, of)

    assert (begun.texts["steps"], begun.revision, begun.writing) == ("Ask Ione", 1, OCTAL)
    assert (own.texts["steps"], own.written) == ("Ask Ione", {"steps", "worked"})
    assert (later.texts["steps"], later.texts["worked"]) == ("Ask Aksel", "It hums")


def test_the_sheet_of_a_version_goes_with_every_image_of_its_content(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        master = image(work, factories.text_tape(leader=60))
        other = image(work, factories.text_tape(leader=90))
        alone = image(work)
        of = version(work, master)

        assert load_subject.best_for(work, master.sha256) == of
        assert load_subject.best_for(work, other.sha256) == of
        assert load_subject.best_for(work, alone.sha256) == alone


def test_the_copies_are_named_with_place_and_condition_the_safe_ones_first(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        frames = factories.text_tape()
        of = image(work, frames)
        for number in range(1, 9):
            factories.tape(work, accession_number=f"1978.{number}", place=f"Box {number}")
            factories.upload(work, frames, tape=f"1978.{number}")
        report = {"tape": "1978.1", "checked_on": date(2026, 1, 2), "state": Condition.UNFIT}
        condition.log(work, NewReport(**report, hazard=Hazard.MOULD))
        sheet = load_sheets.get(work, of)
        copies = [each.accession_number for each in sheet.copies]

    assert copies == [f"1978.{number}" for number in range(2, 8)]
    assert sheet.more_copies == 2
    assert sheet.copies[0].place == "Box 2"
    assert sheet.copies[0].begins is None


def test_a_copy_that_was_punched_here_is_named_before_what_it_was_punched_from(
    sqlite_engine: Engine,
):
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number="1978.1")
        factories.upload(work, factories.text_tape(leader=90), tape="1978.1")
    master = punched.master(sqlite_engine, factories.text_tape(leader=90))
    made = punched.punched(sqlite_engine, master, leader_frames=75, lettering="TIDES")
    frames = punched.frames(sqlite_engine, made.id)
    tape = punched.read_back(sqlite_engine, made.id, frames).tape
    with factories.acting(sqlite_engine) as work:
        first, second = load_sheets.get(work, SheetOf(sha256=master)).copies

    assert (first.accession_number, second.accession_number) == (tape, "1978.1")
    assert first.begins is not None
    assert frames[first.begins :].startswith(factories.text_tape(leader=0)[:40])
    assert (first.letters, second.letters) == ("TIDES", "")


@pytest.mark.parametrize(
    ("frames", "addresses", "writing"),
    [
        (factories.hex_tape(), ["0100", "0101", "0102"], HEXADECIMAL),
        (WORDS, ["0100", "0101", "0102"], OCTAL_WORDS),
        (PAIRS, ["000100", "000102", "000104"], OCTAL),
    ],
)
def test_a_bootstrap_is_read_in_the_notation_of_the_machine(
    sqlite_engine: Engine, frames: bytes, addresses: list[str], writing: Writing
):
    with factories.acting(sqlite_engine) as work:
        sheet = write(work, image(work, frames), bootstrap="100: 7 0 1 ; a remark")

    assert sheet.cells is not None
    assert [each.address for each in sheet.cells] == addresses
    assert sheet.writing == writing


def test_a_bootstrap_in_another_notation_is_refused_and_an_old_one_shown_as_it_stands(
    sqlite_engine: Engine,
):
    with factories.acting(sqlite_engine) as work:
        of = version(work, image(work, factories.text_tape()))
        with pytest.raises(Invalid, match="no number in octal"):
            write(work, of, bootstrap="100: C3", notation=Notation.OCTAL)
        write(work, of, bootstrap="100: C3")
        program = programs.get(work, of.program)
        change = ProgramChange(machine="12-bit machine")
        programs.change(work, program.id, change)
        sheet = load_sheets.get(work, of)

    assert sheet.cells is None
    assert sheet.lines("bootstrap") == ("100: C3",)


def test_who_may_not_write_is_refused(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        of = image(work)
    with unit_of_work(sqlite_engine) as work:
        for act in (lambda: write(work, of), lambda: load_sheets.go_back(work, of, 1)):
            with pytest.raises((NotSignedIn, NotAllowed)):
                act()


def test_what_is_not_held_has_no_sheet(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        of = version(work, image(work))
        other = factories.program(work, title="Other")
        for missing in (
            SheetOf(sha256="0" * 64),
            SheetOf(program=99, version=of.version),
            SheetOf(program=other.id, version=of.version),
            SheetOf(program=of.program, version=2**40),
        ):
            with pytest.raises(NotFound):
                load_sheets.get(work, missing)


def test_a_change_is_in_the_log_of_the_program_or_of_the_image(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        plain = image(work)
        of = version(work, plain)
        write(work, plain, worked="A")
        write(work, of, worked="B")
        logged = events.of(work, ObjectKind.PROGRAM, of.program)[0]
        image_log = events.of(work, ObjectKind.IMAGE, plain.sha256)[0]

    assert logged.detail == "load sheet of version 1 changed"
    assert logged.facts == {"before": {}, "after": {"worked": "B"}, "revision": 2}
    assert image_log.detail == "load sheet changed"


def test_control_characters_and_overlong_texts_are_refused():
    for texts in ({"steps": "a\x1b[2J"}, {"needs": "x" * 4001}, {"colour": "blue"}):
        with pytest.raises(Invalid):
            NewTexts.of(texts)
