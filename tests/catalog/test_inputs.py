import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from server.catalog.condition_values import NewReport
from server.catalog.errors import Invalid
from server.catalog.inputs import NAME_LENGTH, TEXT_LENGTH
from server.catalog.program_values import NewVersion
from server.catalog.tape_values import NewTape, Sort, TapeChange, TapeQuery
from server.catalog.vocabulary import CAUTIONS, WIDTH_MM, Hazard


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("title", "", "this must be given"),
        ("title", "x" * (NAME_LENGTH + 1), f"at most {NAME_LENGTH} characters fit here"),
        ("notes", "x" * (TEXT_LENGTH + 1), f"at most {TEXT_LENGTH} characters fit here"),
        ("title", "bell\x07", "control characters cannot be kept here"),
        ("notes", "nul\x00", "control characters cannot be kept here"),
        ("levels", "9", "give at most 8"),
        ("levels", "4", "give at least 5"),
        ("form", "knot", "choose one of "),
        ("condition", "A+", "choose one of 'not examined', 'good'"),
        ("accession_number", "78-12", "write an accession number as the year, a dot and a number"),
        ("accession_number", "1978.0", "write an accession number"),
        ("made", "last spring", "write a date as 1978"),
        ("smell", "musty", "there is no such field"),
    ],
)
def test_a_value_that_cannot_be_taken_is_named_with_the_reason(field, value, sentence):
    with pytest.raises(Invalid) as refused:
        NewTape.of({"title": "Tide table"} | {field: value})

    assert [field] == list(refused.value.fields)
    assert sentence in refused.value.fields[field]
    assert field in refused.value.where


def test_all_faults_are_told_at_once():
    with pytest.raises(Invalid) as refused:
        NewTape.of({"levels": "seven", "made": "?"})

    assert {"title", "levels", "made"} == set(refused.value.fields)


def test_a_forms_empty_fields_count_as_not_given():
    tape = NewTape.of(
        {"title": "x", "accession_number": "", "levels": " ", "made": "", "program": ""}
    )

    assert (tape.accession_number, tape.levels, tape.made, tape.program) == (None, None, None, None)


@pytest.mark.parametrize(
    "made", ["1978", "1978-04", "1978-04-30", "197X", "19XX", "1978~", "1976/1979?"]
)
def test_dates_may_be_as_vague_as_they_are_known(made):
    """Forms of ISO 8601-2 (from memory)."""
    assert made == NewTape(title="x", made=made).made


def test_a_change_knows_what_was_given():
    assert TapeChange(place="").given() == {"place": ""}


def test_input_is_never_changed():
    with pytest.raises(ValidationError):
        NewTape(title="x").title = "y"  # type: ignore[misc]


def test_a_query_takes_one_value_or_several():
    assert TapeQuery.of({"medium": "paper"}).medium == ("paper",)
    assert TapeQuery.of({"medium": ["paper", "", "polyester"]}).medium == ("paper", "polyester")
    assert TapeQuery.of({}).sort == Sort.ACCESSION


@pytest.mark.parametrize("number", ["0", "-1", str(2**31), "9" * 30, "two"])
def test_a_query_asks_for_numbers_that_a_record_can_have(number):
    with pytest.raises(Invalid):
        TapeQuery.of({"program": number})


def test_a_digest_is_64_hexadecimal_digits():
    assert NewVersion(label="1", sha256="AB" * 32).sha256 == "ab" * 32
    with pytest.raises(Invalid):
        NewVersion.of({"label": "1", "sha256": "ab" * 31})


@pytest.mark.parametrize("position", [-1, float("nan"), float("inf"), 1e9])
def test_a_defect_lies_on_the_tape(position):
    defect = {"kind": "tear", "severity": "slight", "position_mm": position}
    with pytest.raises(Invalid):
        NewReport.of(
            {"tape": "2026.1", "checked_on": "2026-01-02", "state": "good", "defects": [defect]}
        )


@given(st.text(), st.text())
def test_any_text_is_taken_or_refused_in_words(title, notes):
    fields = {"title": "taken"}
    try:
        NewTape.of({"title": title, "notes": notes})
    except Invalid as refused:
        fields = refused.fields

    assert set(fields) <= {"title", "notes"}
    assert all(fields.values())


def test_every_hazard_has_a_caution_that_defers_to_those_who_know():
    for hazard in Hazard:
        assert hazard.quarantines == bool(CAUTIONS[hazard])
    assert "conservator" in CAUTIONS[Hazard.MOULD]
    assert "Mould can harm people" in CAUTIONS[Hazard.MOULD]


def test_an_eight_level_tape_is_an_inch_wide():
    """ECMA-10: nominal width 25.4 mm."""
    assert WIDTH_MM[8] == 25.4
