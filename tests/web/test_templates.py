"""Templates and contexts: each compiles, each is used, and a block is a part of its page."""

import re
from dataclasses import fields

import pytest

from server.checkout import TEMPLATES
from server.web import (
    accounts,
    code,
    compared,
    condition,
    departures,
    downloads,
    errors,
    families,
    fixity,
    help,  # noqa: A004 - the pages of help are called so
    history,
    home,
    images,
    labels,
    load_sheets,
    loans,
    merged,
    merging,
    moving,
    people,
    photos,
    places,
    preparing,
    program_parts,
    programs,
    punching_steps,
    punchings,
    queues,
    search,
    search_more,
    shelf_checks,
    state,
    strips,
    survey,
    tape_forms,
    tape_requests,
    tapes,
    upload,
    vocabularies,
    vouching,
    work,
)
from server.web.context import PageContext
from server.web.render import environment

MODULES = (
    accounts, code, compared, condition, downloads, errors, families, fixity, help, home, images,
    merged, merging, preparing, programs, search, search_more, strips, tape_forms, tapes, upload,
    vouching, work, people, state, labels, load_sheets, punching_steps, punchings, queues, moving,
    places, vocabularies, history, program_parts, loans, tape_requests, shelf_checks, photos,
    survey, departures,
)  # fmt: skip

PAGES = sorted(
    {
        each
        for module in MODULES
        for each in vars(module).values()
        if isinstance(each, type) and issubclass(each, PageContext) and each is not PageContext
    },
    key=lambda page: page.template,
)

FRAGMENTS = [
    ("/tapes?q=kites", "results"),
    ("/tapes/1979.2?rate=33", "estimates"),
    ("/images/{kites}?rate=1", "estimates"),
    ("/programs?q=kite", "results"),
    ("/search?q=kite", "results"),
    ("/search", "results"),
    ("/condition-reports", "results"),
    ("/tapes/1979.3/condition", "results"),
]


def names():
    return sorted(str(each.relative_to(TEMPLATES)) for each in TEMPLATES.rglob("*.html"))


@pytest.mark.parametrize("name", names())
def test_a_template_compiles(name):
    environment().get_template(name)


@pytest.mark.parametrize("page", PAGES)
def test_a_page_has_its_template(page):
    assert (TEMPLATES / page.template).is_file()


def test_no_template_is_left_over():
    sources = {name: (TEMPLATES / name).read_text(encoding="utf-8") for name in names()}
    named = {page.template for page in PAGES}
    for source in sources.values():
        named |= set(re.findall(r'{% (?:extends|include|from) "([^"]+)"', source))

    assert sorted(set(sources) - named) == []


@pytest.mark.parametrize("name", names())
def test_a_template_uses_what_it_imports(name):
    source = (TEMPLATES / name).read_text(encoding="utf-8")
    imported = [
        each.split(" as ")[-1].strip()
        for listed in re.findall(r'{% from "[^"]+" import ([^%]+) %}', source)
        for each in listed.split(",")
    ]

    assert [each for each in imported if len(re.findall(rf"\b{each}\b", source)) < 2] == []


@pytest.mark.parametrize("page", PAGES)
def test_every_name_of_a_page_is_used_by_its_templates(page):
    seen, waiting = "", [page.template]
    while waiting:
        source = (TEMPLATES / waiting.pop()).read_text(encoding="utf-8")
        seen += source
        waiting += re.findall(r'{% (?:extends|include) "([^"]+)"', source)
    unused = [each.name for each in fields(page) if not re.search(rf"\b{each.name}\b", seen)]

    assert set(unused) <= {"headers", "reference"}


def test_no_template_marks_anything_as_safe():
    unsafe = [
        name
        for name in names()
        if re.search(r"\|\s*safe\b|autoescape", (TEMPLATES / name).read_text(encoding="utf-8"))
    ]

    assert unsafe == []


@pytest.mark.parametrize(("path", "block"), FRAGMENTS)
def test_what_htmx_gets_is_a_part_of_the_page_letter_by_letter(path, block, visitor, library):
    path = path.format(kites=library.kites)
    whole = visitor.get(path)
    part = visitor.get(path, headers={"HX-Request": "true"})

    assert part.text.strip() in whole.text
    assert f'id="{block}"' in part.text[:300]
    assert "HX-Request" in whole.headers["Vary"]
    assert "HX-Request" in part.headers["Vary"]


def test_a_page_restored_from_the_history_is_whole(visitor):
    headers = {"HX-Request": "true", "HX-History-Restore-Request": "true"}

    assert "<html" in visitor.get("/tapes", headers=headers).text
