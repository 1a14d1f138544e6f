"""What stands on a load sheet, section by section."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import Engine

from server.catalog import load_sheets
from server.catalog.load_practice import NC_CAUTION, STANDING
from server.catalog.load_sheet_values import Copy, SheetOf, SheetRecord
from server.catalog.vocabulary import Condition, Hazard, Medium
from server.delivery.sheet_sections import imprint, sections
from server.tape.findings import CheckStatus
from server.tape.formats.base import LoadRange
from server.tape.image import Orientation, Span
from server.tape.parts import PartKind, PartSummary
from tests import factories

BEGINS = "Content of the master image begins at frame 100, 254.00 mm (10.0 in) from the first frame"
COPY = Copy("1978.4", "Loft", Medium.PAPER, Condition.GOOD, Hazard.NONE, date(2026, 1, 2), "")


@pytest.fixture
def sheet(sqlite_engine: Engine) -> SheetRecord:
    with factories.acting(sqlite_engine) as work:
        sha256 = factories.upload(work, factories.hex_tape()).image.sha256
        return load_sheets.get(work, SheetOf(sha256=sha256))


def lines(sheet: SheetRecord, heading: str) -> tuple[str, ...]:
    return next((each.lines for each in sections(sheet) if each.heading == heading), ())


def with_image(sheet: SheetRecord, **facts) -> SheetRecord:
    return replace(sheet, image=replace(sheet.image, **facts))


def test_a_copy_is_named_with_place_condition_and_report(sheet):
    shown = lines(replace(sheet, copies=(COPY,), more_copies=3), "From the shelf")

    assert shown == (
        "1978.4: Loft; good, report of 2026-01-02",
        "and 3 more in the list of tapes",
    )
    assert lines(sheet, "From the shelf")[0].startswith("No tape with this content")


def test_a_copy_that_was_punched_here_tells_where_its_own_content_begins(sheet):
    ours = replace(COPY, begins=149, letters="BELL BUOY")
    others = replace(ours, accession_number="1978.5"), replace(COPY, accession_number="1978.6")
    mouldy = replace(ours, accession_number="1978.7", hazard=Hazard.MOULD)
    told = replace(sheet, copies=(ours, *others, mouldy))

    assert lines(told, "From the shelf")[1:3] == (
        "1978.5: Loft; good, report of 2026-01-02; punched here and read back",
        "1978.6: Loft; good, report of 2026-01-02",
    )
    # A frame is 2.54 mm, 0.1 in (ECMA-10).
    assert lines(told, "Tape and reader")[-1] == (
        "On tape 1978.4, 1978.5 it begins at frame 149, 378.46 mm (14.9 in), "
        "behind the letters “BELL BUOY”"
    )


def test_a_tape_in_quarantine_is_not_to_be_handled_and_its_place_is_not_given(sheet):
    mouldy = replace(COPY, hazard=Hazard.MOULD)
    held = replace(sheet, copies=(mouldy,))

    assert lines(held, "From the shelf") == ("1978.4: DO NOT HANDLE, mould suspected",)
    assert lines(held, "Cautions")[0].startswith("Tape 1978.4: mould suspected. Leave it closed")


@pytest.mark.parametrize(
    ("copy", "caution"),
    [
        ({"condition": Condition.FRAGILE, "advice": "By hand."}, "use a punched copy"),
        ({"condition": Condition.FRAGILE, "advice": "By hand."}, "By hand."),
        ({"condition": Condition.UNFIT}, "do not run it"),
        ({"medium": Medium.POLYESTER}, "Polyester does not tear"),
        ({"medium": Medium.OILED_PAPER}, "Oiled paper stains"),
    ],
)
def test_the_newest_report_and_the_medium_bring_their_cautions(sheet, copy, caution):
    told = " ".join(lines(replace(sheet, copies=(replace(COPY, **copy),)), "Cautions"))

    assert caution.removeprefix("use ") in told


def test_the_standing_cautions_close_every_sheet(sheet):
    written = replace(sheet, texts={**sheet.texts, "cautions": "Hot lamp"})

    assert lines(written, "Cautions") == ("Hot lamp", *STANDING)


def test_doubts_about_the_image_are_cautions(sheet):
    damaged = with_image(sheet, check_status=CheckStatus.DAMAGED)
    unverified = with_image(sheet, verification=replace(
        sheet.image.verification, word=type(sheet.image.verification.word).UNVERIFIED
    ))  # fmt: skip

    assert "damaged" in lines(damaged, "Cautions")[0]
    assert "Nothing vouches" in lines(unverified, "Cautions")[0]
    assert NC_CAUTION in lines(with_image(sheet, format="nc-program"), "Cautions")


def test_only_the_first_ranges_are_named(sheet):
    ranges = tuple(LoadRange(at, at + 15) for at in range(0, 0x600, 0x100))
    told = lines(with_image(sheet, load_ranges=ranges, entry_address=None), "Addresses")

    assert told[0].endswith("0300 to 030F and 2 more")
    assert not any("Starts" in line for line in told)


def test_length_and_time_stand_at_the_common_rates(sheet):
    told = lines(with_image(sheet, bytes=3000), "Tape and reader")

    assert "3,000 frames, 7.62 m (25.0 ft)" in told[0]
    assert told[1].startswith("Takes 5 min 0 s at 10, 42.9 s at 70, 10.0 s at 300, 6.7 s at 450")
    assert "common practice, no source" in told[1]


LETTERS = PartSummary(PartKind.LETTERING, 30, 40, None, "TIDES PART 2 OF 3")
PROGRAMS = tuple(PartSummary(PartKind.PROGRAM, at, 50, "text", None) for at in (100, 200))


def test_the_tape_is_laid_in_behind_its_lettering(sheet):
    lettered = with_image(sheet, bytes=300, data=Span(100, 250), parts=(LETTERS, *PROGRAMS))
    told = lines(lettered, "Tape and reader")

    assert (
        "Content of the master image begins at frame 100, 254.00 mm (10.0 in) from the first frame"
        in told
    )
    assert any(
        line.startswith("Lettering “TIDES PART 2 OF 3” ends at frame 70, 177.80 mm (7.0 in)")
        for line in told
    )
    assert "This is part 2 of 3: have all of them at hand" in told
    assert "2 programs stand one behind the other on this tape" in told


def test_a_tape_that_was_read_backwards_is_measured_from_the_end_that_goes_in_first(sheet):
    backwards = with_image(
        sheet, bytes=300, data=Span(50, 200), parts=(LETTERS._replace(frame=240),),
        orientation=Orientation.REVERSED,
    )  # fmt: skip
    told = lines(backwards, "Tape and reader")

    assert (
        "Content of the master image begins at frame 100, 254.00 mm (10.0 in) from the first frame"
        in told
    )
    assert any("ends at frame 60," in line for line in told)
    assert told[-1].startswith("The image was read from its end")


def test_what_should_be_keyed_in_but_is_not_recorded_is_said(sheet):
    keyed = replace(sheet, keyed_in=True)
    changed = replace(sheet, cells=None, texts={**sheet.texts, "bootstrap": "7756: 6032"})

    assert lines(sheet, "Key in") == ()
    assert lines(keyed, "Key in")[0].startswith("No bootstrap is recorded")
    assert lines(changed, "Key in")[1:] == ("7756: 6032",)


def test_the_imprint_says_who_wrote_and_what_nobody_did(sheet):
    written = replace(
        sheet, revision=4, by="Ione", changed=datetime(2026, 3, 4, tzinfo=UTC),
        written=frozenset({"steps"}),
    )  # fmt: skip
    whole = replace(written, written=frozenset({"needs", "steps", "worked"}))

    assert imprint(sheet).startswith("Sheet, revision 1. What comes first, steps, what should")
    assert imprint(written) == (
        "Sheet, revision 4, Ione, 2026-03-04. What comes first, what should appear: common "
        "practice, no source."
    )
    assert imprint(whole) == "Sheet, revision 4, Ione, 2026-03-04."
