"""Templates to answers: a whole page, or for htmx the one block of it that changes."""

import hashlib
import json
from functools import cache
from http import HTTPStatus
from typing import Any, Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from jinja2_fragments import render_block
from starlette.requests import Request
from starlette.responses import HTMLResponse

from server.checkout import STATIC, TEMPLATES
from server.web import wording
from server.web.context import PageContext

HTMX_SETTINGS: Final = json.dumps(
    {
        "allowEval": False,
        "allowScriptTags": False,
        "includeIndicatorStyles": False,
        "selfRequestsOnly": True,
        "attributesToSettle": ["class"],
        "historyCacheSize": 0,
        "refreshOnHistoryMiss": True,
        "responseHandling": [
            {"code": "204", "swap": False},
            {"code": "[23]..", "swap": True},
            {"code": "4(09|13|22)", "swap": True},
            {"code": "[45]..", "swap": True, "error": True},
        ],
    }
)
"""No script or style of a page is ever run but our own files; pages are not kept in the browser;
an error is shown where the answer would have stood, and a form that was refused is a form again.
What settles after a swap leaves the style of elements alone, which the policy would forbid."""


@cache
def static_url(name: str) -> str:
    """The address of a static file, which changes whenever its bytes do."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()
    return f"/static/{name}?v={digest[:12]}"


@cache
def environment() -> Environment:
    """The one template environment: always escaping, and strict about names."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(wording.FILTERS)
    made.globals.update(wording.GLOBALS, static=static_url, htmx_settings=HTMX_SETTINGS)
    return made


def wants_fragment(request: Request) -> bool:
    """Whether htmx asks for a block; a restored page of the history must be whole."""
    headers = request.headers
    return "HX-Request" in headers and "HX-History-Restore-Request" not in headers


def render(
    request: Request,
    page: PageContext,
    *,
    chrome: dict[str, Any],
    block: str | None = None,
    status: int = HTTPStatus.OK,
) -> HTMLResponse:
    """The whole page or, when htmx asks and there is one, its `block`.

    `chrome` holds what the frame around every page names, such as who is signed in.
    """
    names = {**chrome, **page.names()}
    if block is not None and wants_fragment(request):
        body = render_block(environment(), page.template, block, names)
    else:
        body = environment().get_template(page.template).render(names)
    return HTMLResponse(body, status, headers={"Vary": "HX-Request, Cookie"})
