"""The operations of the JSON interface, read from its OpenAPI description."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Part:
    """A parameter or a field: its name, where it goes or what kind it is, and what it means."""

    name: str
    kind: str
    meaning: str
    required: bool


@dataclass(frozen=True, slots=True)
class Operation:
    """One thing that a program may ask for; `answers` are pairs of status and meaning."""

    method: str
    path: str
    summary: str
    meaning: str
    parts: tuple[Part, ...]
    answers: tuple[tuple[str, str], ...]


def operations(description: Mapping[str, Any]) -> tuple[Operation, ...]:
    """Every operation, in the order of the description."""
    return tuple(_operations(description))


def _operations(description: Mapping[str, Any]) -> Iterator[Operation]:
    for path, item in description.get("paths", {}).items():
        for method, told in item.items():
            yield Operation(
                method=method.upper(),
                path=path,
                summary=told.get("summary", ""),
                meaning=told.get("description", ""),
                parts=tuple(_parts(told, description)),
                answers=tuple(
                    (status, answer.get("description", ""))
                    for status, answer in told.get("responses", {}).items()
                ),
            )


def _parts(told: Mapping[str, Any], description: Mapping[str, Any]) -> Iterator[Part]:
    for each in told.get("parameters", ()):
        meaning = each.get("description") or each.get("schema", {}).get("description", "")
        yield Part(each["name"], each["in"], meaning, bool(each.get("required")))
    for media_type, content in told.get("requestBody", {}).get("content", {}).items():
        schema = _resolved(content.get("schema", {}), description)
        needed = schema.get("required", ())
        for name, about in schema.get("properties", {}).items():
            yield Part(name, media_type, about.get("description", ""), name in needed)


def _resolved(schema: Mapping[str, Any], description: Mapping[str, Any]) -> Mapping[str, Any]:
    reference = schema.get("$ref")
    if reference is None:
        return schema
    at: Any = description
    for step in reference.removeprefix("#/").split("/"):
        at = at[step]
    resolved: Mapping[str, Any] = at
    return resolved
