"""The description of the API: complete, and in the words of the trade."""

import pytest

from tests.api.conftest import V1
from tests.api.schema import faults, resolved

PROBLEM = "application/problem+json"


@pytest.fixture
def whole(visitor):
    return visitor.get(f"{V1}/openapi.json").json()


def operations(whole):
    for path, item in whole["paths"].items():
        for method, told in item.items():
            yield f"{method.upper()} {path}", told


CONTRACT = {
    "POST /api/v1/images",
    "GET /api/v1/images/{sha256}",
    "GET /api/v1/images/{sha256}/listing",
    "GET /api/v1/images/{sha256}/frames",
    "GET /api/v1/images/{sha256}/kin",
    "GET /api/v1/search",
    *(f"{method} /api/v1/{kind}" for method in ("GET", "POST")
      for kind in ("tapes", "programs", "condition-reports")),
    "PATCH /api/v1/tapes/{number}",
    "PATCH /api/v1/programs/{program_id}",
    "PATCH /api/v1/condition-reports/{report_id}",
}  # fmt: skip


def test_every_route_of_the_contract_is_described(whole):
    assert set() == CONTRACT - {name for name, _ in operations(whole)}


def test_only_the_api_is_described(whole):
    assert all(path.startswith(f"{V1}/") for path in whole["paths"])


def test_every_operation_says_what_it_does_and_how_it_fails(whole):
    for name, told in operations(whole):
        assert told.get("description"), name
        assert any(status.startswith("2") for status in told["responses"]), name
        failures = {status: answer for status, answer in told["responses"].items()
                    if status >= "400"}  # fmt: skip
        assert {"401", "500", "503"} <= set(failures), name
        assert all(list(each["content"]) == [PROBLEM] for each in failures.values()), name
        assert all(each["description"] for each in told["responses"].values()), name


def test_every_reference_leads_somewhere(whole):
    def references(value):
        if isinstance(value, dict):
            if isinstance(value.get("$ref"), str):
                yield value["$ref"]
            for each in value.values():
                yield from references(each)
        elif isinstance(value, list):
            for each in value:
                yield from references(each)

    for reference in references(whole):
        assert resolved(reference, whole)


def test_every_field_of_an_answer_says_what_it_is(whole):
    untold = [
        f"{name}.{field}"
        for name, schema in whole["components"]["schemas"].items()
        if name.endswith(("Out", "Facts", "Piece", "Problem"))
        for field, about in schema.get("properties", {}).items()
        if "description" not in about
    ]

    assert untold == []


def test_every_parameter_of_a_path_says_what_it_is(whole):
    for name, told in operations(whole):
        for parameter in told.get("parameters", ()):
            if parameter["in"] in {"path", "header"}:
                assert parameter.get("description"), (name, parameter["name"])


def test_lengths_and_addresses_say_their_units(whole):
    facts = whole["components"]["schemas"]["ImageOut"]["properties"]
    ranges = whole["components"]["schemas"]["LoadRangeFacts"]["properties"]
    finding = whole["components"]["schemas"]["FindingFacts"]["properties"]

    assert "millimetres" in facts["length_mm"]["description"]
    assert "millimetres" in finding["position_mm"]["description"]
    assert "loaded too" in ranges["end"]["description"]


def test_both_ways_of_signing_in_are_described(whole):
    schemes = whole["components"]["securitySchemes"]

    assert (schemes["token"]["type"], schemes["token"]["scheme"]) == ("http", "bearer")
    assert schemes["session"]["name"] == "X-CSRF-Token"


def test_the_description_is_of_the_version_that_it_says(whole):
    """OpenAPI 3.1 (section 4.8.1, from memory): these members must be there."""
    assert whole["openapi"].startswith("3.1.")
    assert {"title", "version"} <= set(whole["info"])


@pytest.mark.parametrize(
    ("value", "schema"),
    [
        ("a", {"type": "integer"}),
        (True, {"type": "integer"}),
        ({}, {"type": "object", "required": ["a"]}),
        ({"b": 1}, {"type": "object", "properties": {}, "additionalProperties": False}),
        (["a"], {"type": "array", "items": {"type": "number"}}),
        ("c", {"enum": ["a", "b"]}),
        (None, {"anyOf": [{"type": "string"}, {"type": "integer"}]}),
        ("a", {"if": {}}),
    ],
)
def test_the_reader_of_the_description_notices_what_does_not_fit(value, schema):
    assert list(faults(value, schema, {}))
