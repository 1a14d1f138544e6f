"""The committed images of the demo library: made as said, and decoded as their story tells."""

from functools import cache
from pathlib import Path

import pytest

from seed_data import make
from server.tape.findings import Severity
from server.tape.identify import Decoded, decode
from server.tape.image import Image
from server.tape.kinship import Kind, Kinship, compare, normal_form
from server.tape.merging import merge

RECIPES = {recipe["file"]: recipe for recipe in make.recipes()}

DAMAGED = {
    "2018-06-a.bin", "2018-06-b.bin", "2018-09.bin", "2019-02.bin", "2019-10.bin", "2019-12.bin",
    "2021-04.bin", "2022-03-a.bin", "2022-03-b.bin", "2022-03-c.bin",
}  # fmt: skip

MADE_AS = {"five-level": "text", "raw": "unrecognised", "blank": "unrecognised"}
"""What the recipes that name no format of their own are recognised as."""


@cache
def decoded(name: str) -> Decoded:
    levels = 5 if RECIPES[name]["format"] == "five-level" else None
    return decode((make.IMAGES / name).read_bytes(), levels)


def kinship(of: str, to: str) -> Kinship:
    return compare(normal_form(decoded(of).decoding), normal_form(decoded(to).decoding))


def test_every_image_has_a_recipe_and_every_recipe_an_image():
    assert {path.name for path in make.IMAGES.iterdir()} == set(RECIPES)


@pytest.mark.parametrize("name", RECIPES)
def test_a_committed_image_is_what_its_recipe_makes(name):
    assert (make.IMAGES / name).read_bytes() == make.made(RECIPES[name]).frames


@pytest.mark.parametrize("name", RECIPES)
def test_an_image_is_recognised_for_what_it_was_made_as(name):
    recipe, found = RECIPES[name], decoded(name)
    wanted = MADE_AS.get(recipe["format"], recipe["format"])

    assert found.decoding.format == wanted
    if wanted != "unrecognised":
        assert found.orientation == recipe.get("orientation", "as-read")


@pytest.mark.parametrize("name", [name for name in RECIPES if RECIPES[name]["format"] == "text"])
def test_a_text_is_listed_as_it_was_written_unless_damage_changed_it(name):
    recipe, found = RECIPES[name], decoded(name)
    written = (Path(make.HERE) / recipe["source"]).read_text(encoding="ascii").splitlines()
    listed = [line.text for line in found.decoding.listing]
    if found.orientation.runs_backwards:
        listed.sort(key=lambda text: int(text.split()[0]))

    assert sum(a != b for a, b in zip(written, listed, strict=True)) == len(
        recipe.get("damage", ())
    )
    assert found.decoding.parity == recipe.get("parity", "even")


@pytest.mark.parametrize("name", RECIPES)
def test_damage_is_found_where_it_was_done_and_nowhere_else(name):
    severe = [
        finding
        for finding in decoded(name).decoding.findings
        if finding.severity is Severity.DAMAGE
    ]

    assert bool(severe) == (name in DAMAGED)
    assert (decoded(name).decoding.check_status == "damaged") == (name in DAMAGED)


def test_three_holes_changed_in_one_reading_are_three_parity_errors_and_one_in_the_other():
    def errors(name: str) -> list[int]:
        findings = decoded(name).decoding.findings
        return [each.frame for each in findings if each.kind == "parity-error"]

    assert len(errors("2018-06-a.bin")) == 3
    assert set(errors("2018-06-b.bin")) < set(errors("2018-06-a.bin"))


@pytest.mark.parametrize("second", ["2018-02.bin", "2018-03.bin", "2018-04.bin"])
def test_the_second_save_of_number_duel_adds_exactly_the_line_that_seeds(second):
    """Crunched against text in even parity, against crunched, and against text in mark parity."""
    found = kinship("2018-01.bin", second)

    assert found.kind is Kind.NEAR
    assert (found.added, found.removed, found.changed) == (1, 0, 0)
    assert found.similarity > 0.94


def test_the_school_copy_has_the_same_content_under_another_leader_and_parity():
    assert kinship("2018-02.bin", "2018-04.bin").kind is Kind.SAME_CONTENT


def test_a_crunched_and_a_listed_copy_of_one_version_have_the_same_listing():
    assert kinship("2018-02.bin", "2018-03.bin").kind is Kind.SAME_LISTING


def test_two_punches_of_one_program_in_records_are_kin_though_one_lost_a_frame():
    assert kinship("2021-01.bin", "2019-12.bin").kind is Kind.NEAR


def test_three_damaged_passes_come_to_the_wave_table_whole():
    passes = [Image(decoded(f"2022-03-{each}.bin").image.frames) for each in "abc"]
    merged = merge(passes)
    found = decode(merged.image.frames)

    assert merged.agreement.agrees
    assert found.decoding.check_status == "sound"
    assert found.decoding.content == decoded("2021-01.bin").decoding.content


@pytest.mark.parametrize(
    ("a", "b"), [("2018-01.bin", "2018-05.bin"), ("2019-08.bin", "2019-11.bin")]
)
def test_programs_that_have_nothing_in_common_are_unrelated(a, b):
    assert kinship(a, b).kind is Kind.UNRELATED
