"""Addresses of what the API serves, as it is reached from outside."""

from typing import Any

from fastapi import Request


def address(request: Request, route: str, **parameters: str | int) -> str:
    """The path of the route with that name, from the root of the site."""
    return f"{request.scope['root_path']}{request.app.url_path_for(route, **parameters)}"


def location(where: str) -> dict[str, Any]:
    """The header Location of a route that makes something, for its description."""
    return {"Location": {"schema": {"type": "string"}, "description": where}}


def created(what: str, where: str = "Its address.") -> dict[int | str, dict[str, Any]]:
    """The answer of a route that made something, for its description."""
    return {201: {"description": what, "headers": location(where)}}
