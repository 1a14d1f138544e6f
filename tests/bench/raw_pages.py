"""The list of tapes as one would write it by hand: raw sqlite3, and the same Jinja2 template.

    uvicorn --factory tests.bench.raw_pages:app     (FEEDHOLE_DATABASE_URL names the library)

No sign-in, no middleware, no checks of what is asked: the floor to which the real page is held.
It answers in the event loop, with one connection, so that not even a thread is in its way. The
counts beside the facets are counted anew for each answer where RAW_COUNTS is set; otherwise
once, so that nothing but rows and template is measured.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from types import SimpleNamespace
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse
from starlette.routing import Route

from server.catalog.narrowing import NO_IMAGE, WORDS
from server.catalog.tape_values import TapeQuery
from server.settings import Settings
from server.tape.formats import FORMATS
from server.web.render import environment
from server.web.visit import Visit

ROWS = """
SELECT tape.accession_number, tape.title, tape.program_id AS program,
    program.title AS program_title, tape.format, tape.check_status, tape.verified,
    tape.condition, tape.hazard <> 'none' AS quarantined, tape.reported_unfit AS do_not_run,
    tape.loader_requirement, image.sha256,
    (SELECT count(*) FROM kinship WHERE image_a_id = tape.image_id)
    + (SELECT count(*) FROM kinship WHERE image_b_id = tape.image_id) AS kin
FROM tape LEFT JOIN program ON program.id = tape.program_id
    LEFT JOIN image ON image.id = tape.image_id
ORDER BY tape.accession_key, tape.id LIMIT 50 OFFSET ?
"""

IMAGES = "SELECT format, check_status, verified, count(*) FROM tape GROUP BY 1, 2, 3"
COUNTS = {
    name: f"SELECT {column}, count(*) FROM tape GROUP BY 1 ORDER BY 2 DESC LIMIT 40"
    for name, column in {
        "medium": "medium",
        "condition": "condition",
        "place": "place",
        "program": "program_id",
    }.items()
}


class Row(SimpleNamespace):
    """A row with its columns as attributes, as the template asks for them."""


def made(cursor: sqlite3.Cursor, values: tuple[Any, ...]) -> Row:
    names = [column[0] for column in cursor.description]
    return Row(**dict(zip(names, values, strict=True)))


def value(name: Any, label: Any, count: int) -> Row:
    return Row(value=name, label=label, count=count, chosen=False)


def counted(connection: sqlite3.Connection) -> tuple[int, dict[str, tuple[Row, ...]]]:
    """How many tapes there are, and the values of each facet."""
    images = connection.execute(IMAGES).fetchall()
    tallies: list[dict[Any, int]] = [{}, {}, {}]
    for *values, count in images:
        for each, tally in zip(values, tallies, strict=True):
            tally[each] = tally.get(each, 0) + count
    facets = {
        "format": [
            value(each or NO_IMAGE, FORMATS[each].title if each else "no image yet", count)
            for each, count in tallies[0].items()
        ],
        "check_status": [value(each, each, count) for each, count in tallies[1].items() if each],
        "verification": [
            value(WORDS[each], WORDS[each], count) for each, count in tallies[2].items()
        ],
    }
    for name, statement in COUNTS.items():
        facets[name] = [
            value(each, each, count) for each, count in connection.execute(statement) if each
        ]
    return sum(count for *_, count in images), {name: tuple(facets[name]) for name in facets}


def app() -> Starlette:
    path = Settings().database_url.removeprefix("sqlite:///")
    reading = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    reading.execute("PRAGMA cache_size = -16384")
    template = environment().get_template("pages/tapes.html")
    anew = "RAW_COUNTS" in os.environ
    with closing(sqlite3.connect(path)) as connection:
        kept = counted(connection)

    def rows(page: int) -> Iterator[Row]:
        cursor = reading.execute(ROWS, ((page - 1) * 50,))
        for values in cursor:
            row = made(cursor, values)
            row.verification = WORDS[row.verified]
            yield row

    async def tapes(request: Request) -> HTMLResponse:
        page = int(request.query_params.get("page", "1"))
        total, facets = counted(reading) if anew else kept
        found = Row(rows=list(rows(page)), total=total, facets=facets)
        found.page, found.pages = page, -(-total // 50)
        query = TapeQuery(page=page)
        names = {"title": "Tapes", "query": query, "found": found, "visit": Visit(request)}
        return HTMLResponse(template.render(names))

    made_app = Starlette(routes=[Route("/tapes", tapes)])
    made_app.state.settings, made_app.state.engine = Settings(), None
    made_app.state.formats = FORMATS
    return made_app
