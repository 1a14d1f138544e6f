"""Long lists, a page at a time: the body says how many there are, the Link header where."""

from collections.abc import Iterator
from typing import Any, Generic, TypeVar

from fastapi import Request, Response
from pydantic import BaseModel, Field

from server.catalog.tape_values import Page

ItemT = TypeVar("ItemT", bound=BaseModel)


class PageOut(BaseModel, Generic[ItemT]):
    """One page of a list."""

    items: list[ItemT] = Field(description="The items of this page.")
    total: int = Field(description="How many there are in all.")
    page: int = Field(description="This page, counted from 1.")
    pages: int = Field(description="How many pages there are.")


def page_out(
    request: Request, response: Response, page: Page[Any], model: type[ItemT]
) -> PageOut[ItemT]:
    """`page` with its items as `model`; sets the Link header (RFC 8288) of `response`."""
    response.headers["Link"] = links(request, page)
    return PageOut(
        items=[model.model_validate(row) for row in page.rows],
        total=page.total,
        page=page.page,
        pages=page.pages,
    )


def links(request: Request, page: Page[Any]) -> str:
    """The Link header (RFC 8288) that says where the other pages are."""
    return ", ".join(_links(request, page))


def _links(request: Request, page: Page[Any]) -> Iterator[str]:
    targets = {"first": 1, "prev": page.page - 1, "next": page.page + 1, "last": page.pages}
    for relation, number in targets.items():
        if 1 <= number <= page.pages:
            url = request.url.include_query_params(page=number)
            yield f'<{url.path}?{url.query}>; rel="{relation}"'
