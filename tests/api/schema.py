"""Holds every answer of the API against its own description.

A small reader of JSON Schema, for the keywords that the description uses; an unknown one fails,
so that nothing passes unread.
"""

import json
import re
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

READ = {"$ref", "type", "properties", "required", "additionalProperties", "items", "anyOf", "enum",
        "const", "minimum", "maximum", "pattern", "format", "minLength", "maxLength",
        "maxItems"}  # fmt: skip
SAID = {"title", "description", "default", "examples", "contentMediaType"}
"""Keywords that only tell."""

JSON_LINES = {"application/x-ndjson", "application/jsonl"}

TYPES: Mapping[str, Any] = {
    "object": dict,
    "array": list,
    "string": str,
    "integer": int,
    "number": (int, float),
    "boolean": bool,
    "null": type(None),
}


def faults(value: Any, schema: Mapping[str, Any], whole: Mapping[str, Any], at: str = "") -> Any:
    """What of `value` does not fit `schema`, with the place; `whole` resolves references."""
    unknown = set(schema) - READ - SAID
    if unknown:
        yield f"{at}: the description uses {unknown}"
    if "$ref" in schema:
        yield from faults(value, resolved(schema["$ref"], whole), whole, at)
    alternatives = schema.get("anyOf", ())
    if alternatives and all(list(faults(value, each, whole, at)) for each in alternatives):
        yield f"{at}: {value!r} is none of the alternatives"
    if "enum" in schema and value not in schema["enum"]:
        yield f"{at}: {value!r} is not one of {schema['enum']}"
    if "const" in schema and value != schema["const"]:
        yield f"{at}: {value!r} is not {schema['const']!r}"
    yield from _of_type(value, schema, whole, at)


def _of_type(value: Any, schema: Mapping[str, Any], whole: Mapping[str, Any], at: str) -> Any:
    kind = schema.get("type")
    if kind is None:
        return
    if not isinstance(value, TYPES[kind]) or (isinstance(value, bool) and kind != "boolean"):
        yield f"{at}: {value!r} is no {kind}"
    elif kind == "object":
        yield from _object(value, schema, whole, at)
    elif kind == "array":
        for index, each in enumerate(value):
            yield from faults(each, schema.get("items", {}), whole, f"{at}[{index}]")
    elif kind == "string":
        yield from _string(value, schema, at)
    elif "minimum" in schema and value < schema["minimum"]:
        yield f"{at}: {value!r} is under {schema['minimum']}"


def _object(value: Any, schema: Mapping[str, Any], whole: Mapping[str, Any], at: str) -> Any:
    properties = schema.get("properties", {})
    for name in schema.get("required", ()):
        if name not in value:
            yield f"{at}.{name}: missing"
    for name, each in value.items():
        if name in properties:
            yield from faults(each, properties[name], whole, f"{at}.{name}")
        elif schema.get("additionalProperties") is False:
            yield f"{at}.{name}: not described"


def _string(value: str, schema: Mapping[str, Any], at: str) -> Any:
    if "pattern" in schema and not re.search(schema["pattern"], value):
        yield f"{at}: {value!r} does not match {schema['pattern']}"
    if schema.get("format") == "date-time" and datetime.fromisoformat(value).tzinfo is None:
        yield f"{at}: {value!r} has no zone"
    if schema.get("format") == "date":
        date.fromisoformat(value)


def resolved(reference: str, whole: Mapping[str, Any]) -> Mapping[str, Any]:
    at: Any = whole
    for step in reference.removeprefix("#/").split("/"):
        at = at[step]
    found: Mapping[str, Any] = at
    return found


def operation(whole: Mapping[str, Any], method: str, path: str) -> Mapping[str, Any] | None:
    """The operation that a request was for; HEAD is described by GET."""
    method = "get" if method == "HEAD" else method.lower()
    for template, item in whole["paths"].items():
        form = re.sub(r"\{[^}]+\}", "[^/]+", template)
        if re.fullmatch(form, path) and method in item:
            found: Mapping[str, Any] = item[method]
            return found
    return None


def check(whole: Mapping[str, Any], response: Any) -> None:
    """Fail unless the answer is one that the description promises."""
    request = response.request
    described = operation(whole, request.method, request.url.path)
    if described is None:
        return
    answers = described["responses"]
    assert str(response.status_code) in answers, (request.method, request.url, response.text)
    content = answers[str(response.status_code)].get("content", {})
    kind = response.headers.get("content-type", "").partition(";")[0]
    if not response.content:
        return
    assert kind in content, (request.method, request.url, kind, sorted(content))
    texts = response.text.splitlines() if kind in JSON_LINES else [response.text]
    if "json" in kind:
        for text in texts:
            assert list(faults(json.loads(text), content[kind]["schema"], whole)) == []
