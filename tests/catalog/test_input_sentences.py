"""Whatever is wrong with a value, pydantic's own wording never reaches a user."""

from collections.abc import Iterator
from typing import Any, get_args

import pytest
from pydantic import ValidationError
from pydantic_core import PydanticKnownError, core_schema

import server.app  # noqa: F401, so that all inputs are known
from server.catalog.input_sentences import UNTOLD, sentence
from server.catalog.inputs import Input

WRONG = [
    None, "", "x", "bell\x07", "\ud800", "1.5", "x" * 5000, b"\xff", -1, 1.5, 10**30, "1" * 5000,
    float("nan"), float("inf"), True, [], ["x"] * 60, [[]], {}, {"x": 1}, {1: 1}, object(),
    "2026-13-45", "2026-01-01T10:00", 1e20,
]  # fmt: skip

CONTEXT = {
    "error": "why", "gt": 1, "ge": 1, "lt": 1, "le": 1, "multiple_of": 2, "min_length": 1,
    "max_length": 2, "actual_length": 3, "field_type": "Tuple", "pattern": "p", "expected": "'a'",
    "class": "C", "class_name": "C", "method_name": "m", "attribute": "a", "encoding": "e",
    "encoding_error": "e", "expected_version": 4, "expected_schemes": "s", "tag": "t",
    "discriminator": "d", "expected_tags": "t", "max_digits": 1, "decimal_places": 1,
    "whole_digits": 1, "tz_expected": 1, "tz_actual": 1,
}  # fmt: skip


def inputs(kind: type[Input] = Input) -> Iterator[type[Input]]:
    for each in kind.__subclasses__():
        yield each
        yield from inputs(each)


def faults(kind: type[Input], values: dict[Any, Any]) -> list[Any]:
    try:
        kind.model_validate(values)
    except ValidationError as error:
        return list(error.errors())
    return []


@pytest.mark.parametrize("kind", list(inputs()), ids=lambda kind: kind.__qualname__)
def test_every_fault_of_every_input_is_told_in_words_of_ours(kind):
    given: list[dict[Any, Any]] = [{}, {"no such field": 1}]
    given += [{name: value} for name in kind.model_fields for value in WRONG]
    found = [fault for values in given for fault in faults(kind, values)]

    assert len(found) > len(kind.model_fields)
    assert [each for each in found if sentence(each) == UNTOLD] == []
    assert [each["type"] for each in found if sentence(each) == each["msg"]] == []


@pytest.mark.parametrize("kind", get_args(core_schema.ErrorType))
def test_no_kind_of_fault_is_told_in_the_librarys_words(kind):
    message = PydanticKnownError(kind, CONTEXT).message()

    told = sentence({"type": kind, "msg": message, "ctx": CONTEXT})

    assert told
    assert told not in message or kind == "value_error"
