"""Addresses of what the API serves, as it is reached from outside."""

from fastapi import Request


def address(request: Request, route: str, **parameters: str | int) -> str:
    """The path of the route with that name, from the root of the site."""
    return f"{request.scope['root_path']}{request.app.url_path_for(route, **parameters)}"
