"""What the demo library tells: enough of it, and a story without a hole."""

import tomllib
from itertools import pairwise
from typing import Any

import pytest

from seed_data import make, photographs
from server.catalog.condition_values import NewReport
from server.catalog.load_sheet_values import NewTexts
from server.catalog.published import ACCOUNTS
from server.catalog.tape_values import NewTape
from server.tape.identify import decode
from server.tape.kinship import Kind, compare, normal_form

LIBRARY: dict[str, Any] = tomllib.loads((make.HERE / "library.toml").read_text(encoding="utf-8"))
PROGRAMS = {program["key"]: program for program in LIBRARY["program"]}
TAPES = {tape["accession_number"]: tape for tape in LIBRARY["tape"]}

STEPS = [
    (program["key"], before, after)
    for program in LIBRARY["program"]
    for before, after in pairwise(program["version"])
]

WRITTEN_ANEW = {"lamp-pattern"}
"""Its second version shares an idea with the first, and hardly a byte."""


def test_the_library_is_large_enough_to_be_browsed():
    assert len(TAPES) >= 28
    assert len(PROGRAMS) >= 13
    assert sum(len(program["version"]) > 1 for program in PROGRAMS.values()) >= 5
    assert any(len(program["version"]) == 3 for program in PROGRAMS.values())


def test_every_image_was_read_from_a_tape():
    read = {reading["image"] for tape in TAPES.values() for reading in tape["readings"]}

    assert read == {recipe["file"] for recipe in make.recipes()}


@pytest.mark.parametrize("tape", LIBRARY["tape"], ids=TAPES)
def test_what_is_known_of_a_tape_can_be_entered(tape):
    entered = {name: tape[name] for name in tape if name not in ("readings", "program")}

    assert NewTape.of(entered).accession_number == tape["accession_number"]
    assert tape.get("program", "number-duel") in PROGRAMS


@pytest.mark.parametrize("report", LIBRARY["report"], ids=lambda report: report["tape"])
def test_a_report_is_about_a_tape_and_made_after_it_came(report):
    values = {name: report[name] for name in report if name not in ("by", "photos")}

    assert NewReport.of(values).checked_on.year >= int(report["tape"].split(".")[0])
    assert report["tape"] in TAPES
    assert report["by"] in {account.name for account in ACCOUNTS}


def test_the_photos_of_reports_are_those_that_are_drawn_and_say_what_they_show():
    shown = [each for report in LIBRARY["report"] for each in report.get("photos", ())]

    assert sorted(each["file"] for each in shown) == sorted(photographs.PHOTOS)
    assert {path.name for path in photographs.FOLDER.iterdir()} == set(photographs.PHOTOS)
    assert all(each["shows"] for each in shown)


@pytest.mark.parametrize("tape", LIBRARY["tape"], ids=TAPES)
def test_a_tape_was_read_in_the_year_of_its_accession(tape):
    year = int(tape["accession_number"].split(".")[0])

    assert [each["read_on"].year for each in tape["readings"]] == [year] * len(tape["readings"])


def test_a_tape_with_suspected_mould_was_never_read():
    suspected = [report["tape"] for report in LIBRARY["report"] if "hazard" in report]

    assert suspected
    assert [TAPES[number]["readings"] for number in suspected] == [[] for _ in suspected]


@pytest.mark.parametrize(("key", "before", "after"), STEPS)
def test_each_version_follows_the_one_before_it_and_resembles_it(key, before, after):
    images = [(make.IMAGES / each["image"]).read_bytes() for each in (before, after)]
    earlier, later = (normal_form(decode(image).decoding) for image in images)
    found = compare(earlier, later)

    assert after["follows"] == before["label"]
    assert found.kind is (Kind.UNRELATED if key in WRITTEN_ANEW else Kind.NEAR)


@pytest.mark.parametrize("program", LIBRARY["program"], ids=PROGRAMS)
def test_the_master_of_a_version_was_read_from_a_tape_of_that_program(program):
    masters = {version["image"] for version in program["version"]}
    read = {
        reading["image"]
        for tape in TAPES.values()
        if tape.get("program") == program["key"]
        for reading in tape["readings"]
    }

    assert masters <= read


@pytest.mark.parametrize("sheet", LIBRARY["load_sheet"], ids=lambda sheet: sheet["note"])
def test_a_load_sheet_is_of_something_held_and_can_be_written(sheet):
    of = {name: sheet[name] for name in ("program", "version", "image") if name in sheet}
    texts = NewTexts.of({name: sheet[name] for name in sheet.keys() - of.keys() - {"by"}})
    labels = {each["label"] for each in PROGRAMS.get(sheet.get("program"), {}).get("version", ())}

    assert texts.texts
    assert of.get("version") in labels or (make.IMAGES / of["image"]).is_file()
    assert sheet["by"] in {account.name for account in ACCOUNTS}
