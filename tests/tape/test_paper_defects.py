"""Defects of the paper beside findings, and on pictures of the tape."""

from xml.etree import ElementTree as ET

import pytest

from server.tape.findings import Finding, Severity
from server.tape.image import Image, Span
from server.tape.paper_defects import PaperDefect, beside, is_near, tolerance_mm
from server.tape.picture import strip

PITCH = 2.54


def finding(frame, frames=1):
    return Finding("parity-error", Severity.DAMAGE, frame, frames, "One hole too many.", "Look.")


def defect(frame, frames=1, trait="shape", kind="crease"):
    return PaperDefect(kind, trait, frame, frames, f"{kind} logged at {frame * PITCH:.0f} mm")


def test_a_parity_error_at_3_41_m_lies_beside_a_crease_logged_at_3_4_m():
    at_341, at_34 = round(3410 / PITCH), round(3400 / PITCH)

    assert is_near(finding(at_341), defect(at_34))


@pytest.mark.parametrize(
    ("frame", "other", "near"),
    [(100, 119, True), (100, 120, False), (119, 100, True), (120, 100, False), (100, 100, True)],
)
def test_within_50_mm_is_near_and_beyond_is_not(frame, other, near):
    assert is_near(finding(frame), defect(other)) is near


@pytest.mark.parametrize(("frame", "near"), [(40_400, True), (40_401, False)])
def test_far_along_the_tape_a_hundredth_of_the_way_is_near(frame, near):
    assert tolerance_mm(40_000 * PITCH) == pytest.approx(400 * PITCH)
    assert is_near(finding(frame), defect(40_000)) is near


def test_both_may_reach_over_many_frames():
    assert is_near(finding(0, 500), defect(510, 10))
    assert is_near(finding(540), defect(500, 30))
    assert not is_near(finding(0, 480), defect(510, 10))


def test_each_finding_is_given_those_near_it_the_nearest_first():
    near, nearer, far = defect(110), defect(103), defect(400)

    assert beside([finding(100), finding(900)], [near, far, nearer]) == ((nearer, near), ())


@pytest.mark.parametrize("trait", ["break", "holes", "shape", "surface"])
def test_a_defect_is_drawn_by_a_shape_and_its_word(trait):
    drawn = strip(Image(bytes(60), 8), Span(0, 60), defects=[defect(30, 4, trait, "tear <b>")])
    root = ET.fromstring(drawn)
    svg = "{http://www.w3.org/2000/svg}"
    (mark,) = [each for each in root.iter(f"{svg}g") if each.get("class") == "picture-defect"]

    assert [each.text for each in mark.iter(f"{svg}text")] == ["tear <b>"]
    (frame,) = mark.iter(f"{svg}rect")
    assert float(frame.attrib["width"]) == pytest.approx(4 * PITCH, abs=0.01)
    assert "Defects: tear <b> logged at 76 mm." in (root.findtext(f"{svg}desc") or "")


def test_each_trait_has_a_shape_of_its_own():
    image, span = Image(bytes(60), 8), Span(0, 60)
    traits = ("break", "holes", "shape", "surface")

    assert len({strip(image, span, defects=[defect(30, 1, each)]) for each in traits}) == 4


def test_a_defect_beyond_the_strip_is_not_drawn():
    drawn = strip(Image(bytes(300), 8), Span(0, 60), defects=[defect(60), defect(200)])

    assert "picture-defect" not in drawn
    assert drawn == strip(Image(bytes(300), 8), Span(0, 60))
