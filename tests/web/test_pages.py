"""Every page, as each role sees it: found or refused, whole, and safe to show."""

import re
from dataclasses import fields
from html.parser import HTMLParser

import pytest

from server.catalog.work import Role
from tests.web.conftest import clients, site_on
from tests.web.library import HOSTILE

OPEN = [
    "/",
    "/tapes",
    "/tapes?q=kites&sort=newest&check_status=sound",
    "/tapes?page=9",
    "/tapes/1979.1",
    "/tapes/1979.2?rate=120",
    "/tapes/1979.3",
    "/tapes/1979.6",
    "/tapes/1979.3/condition",
    "/images/{kites}",
    "/images/{loose}?rate=fast",
    "/images/{hex}",
    "/images/{hex}/listing",
    "/images/{kites}/listing?q=kite",
    "/images/{long}/listing?page=2",
    "/images/{kites}/compare/{seeded}",
    "/images/{kites}/compare/{hex}?lines=all",
    "/images/{hex}/sheet",
    "/images/{hex}/sheet/history",
    "/programs",
    "/programs?q=nothing",
    "/programs/{program}",
    "/programs?language=BASIC",
    "/vocabularies",
    "/vocabularies/medium",
    "/search",
    "/search?q=KITE",
    "/search?q=k&kind=listing&format=text",
    "/search?q=zebra%20crossing",
    "/condition-reports",
    "/condition-reports/{report}",
    "/tapes/1979.1/photos",
    "/punchings",
    "/punchings?status=punched",
    "/punchings?image={kites}",
    "/punchings/{waiting}",
    "/punchings/{differing}",
    "/punchings/{copied}",
    "/tapes/{copy}",
    "/tapes/{copy}/label",
    "/tapes/1979.3/label?layout=sheet&copies=3",
    "/labels?tape=1979.1&tape=1979.6",
    "/queues",
    "/state",
    "/state?year=2024",
    "/queues/unread",
    "/queues/damaged-checks",
    "/queues/unidentified",
    "/queues/kin-to-judge",
    "/queues/readings-disagree",
    "/queues/no-report?page=9",
    "/sign-in",
    "/appearance",
    "/help",
    "/help/words",
    "/help/formats",
    "/help/digests",
    "/help/problems",
    "/help/load-sheets",
    "/help/cautions",
    "/help/condition",
    "/help/api",
]
FOR_VOLUNTEERS = [
    "/upload",
    "/upload?image={loose}&image={kites}",
    "/tapes/new",
    "/tapes/1979.1/edit",
    "/tapes/1979.1/condition/new",
    "/survey",
    "/survey?tape=1979.3",
    "/images/{hex}/sheet/edit",
    "/account",
    "/queues/mine",
    "/tapes/1979.1/history",
    "/tapes/1979.1/history?type=accession",
    "/programs/{program}/history",
    "/condition-reports/{report}/history",
    "/images/{kites}/history",
    "/vocabularies/language/history",
    "/places",
    "/places?q=box&closed=true",
    "/places/{place}",
    "/places/{place}/list",
    "/movements",
    "/movements?place={place}",
    "/movements?tape=1979.6",
    "/tapes/1979.6/move",
    "/tapes/1979.6/loans",
    "/loans",
    "/loans?status=out&overdue=true",
    "/loans/{loan}",
    "/requests",
    "/requests?status=open",
    "/requests/new?tape=1979.6",
    "/requests/new?program={program}",
    "/requests/{request}",
    "/shelf-checks",
    "/shelf-checks?place={place}",
    "/shelf-checks/{check}",
]
FOR_ARCHIVISTS = [
    "/condition-reports/{report}/edit",
    "/programs/new",
    "/programs/{program}/edit",
    "/programs/{program}/merge",
    "/programs/{program}/split",
    "/programs/{program}/versions/1/edit",
    "/vocabularies/language/words/1",
    "/images/{damaged}/proof-read",
    "/images/{damaged}/version",
]
FOR_ADMINISTRATORS = ["/people"]

NEEDED = {
    **dict.fromkeys(OPEN, Role.VISITOR),
    **dict.fromkeys(FOR_VOLUNTEERS, Role.VOLUNTEER),
    **dict.fromkeys(FOR_ARCHIVISTS, Role.ARCHIVIST),
    **dict.fromkeys(FOR_ADMINISTRATORS, Role.ADMINISTRATOR),
}


@pytest.fixture(scope="module")
def client_of(library, tmp_path_factory):
    """One site for all tests here: none of them changes anything."""
    with clients(site_on(library, tmp_path_factory.mktemp("pages")), library) as made:
        yield made


def path_in(library, path):
    return path.format(**{each.name: getattr(library, each.name) for each in fields(library)})


class Elements(HTMLParser):
    """The elements of a page, as name and attributes."""

    def __init__(self, text):
        super().__init__()
        self.all = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.all.append((tag, dict(attrs)))

    def named(self, *names):
        return [attributes for name, attributes in self.all if name in names]


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("path", NEEDED)
def test_a_page_is_shown_to_those_who_may_see_it_and_no_others(path, role, client_of, library):
    response = client_of(role).get(path_in(library, path))

    if role.includes(NEEDED[path]):
        assert response.status_code == 200, response.text
    elif role is Role.VISITOR:
        assert (
            response.status_code,
            response.headers["location"].split("?")[0],
        ) == (303, "/sign-in")
    else:
        assert response.status_code == 403


@pytest.mark.parametrize("path", NEEDED)
def test_a_page_has_one_heading_unique_ids_labels_and_a_title_of_its_own(
    path, administrator, library
):
    text = administrator.get(path_in(library, path)).text
    elements = Elements(text)
    ids = [attributes["id"] for _, attributes in elements.all if "id" in attributes]
    labelled = {attributes.get("for") for attributes in elements.named("label")}
    fields = [
        each
        for each in elements.named("input", "select", "textarea")
        if each.get("type") not in {"hidden", "checkbox", "radio"}
    ]

    assert text.count("<h1") == 1
    assert sorted(set(ids)) == sorted(ids)
    assert [each for each in fields if each.get("id") not in labelled] == []
    assert re.search(r"<title>\S.+ \N{EN DASH} Feedhole</title>", text)


@pytest.mark.parametrize("path", NEEDED)
def test_a_page_runs_and_paints_nothing_inline(path, administrator, library):
    elements = Elements(administrator.get(path_in(library, path)).text)
    inline = [
        attributes
        for name, attributes in elements.all
        if name == "style"
        or "style" in attributes
        or any(attribute.startswith("on") for attribute in attributes)
        or (name == "script" and "src" not in attributes)
    ]

    assert inline == []


@pytest.mark.parametrize("path", NEEDED)
def test_every_link_of_a_page_leads_somewhere(path, administrator, library):
    page = path_in(library, path)
    elements = Elements(administrator.get(page).text)
    ids = {attributes.get("id") for _, attributes in elements.all}
    links = {each["href"] for each in elements.named("a")}
    here = [link for link in links if link.startswith("#") and link[1:] not in ids]
    inside = {link.partition("#")[0] for link in links if link.startswith("/")}
    dead = [link for link in sorted(inside) if administrator.get(link).status_code >= 400]

    assert (here, dead) == ([], [])


def test_what_people_and_tapes_say_is_never_run(visitor, library):
    pages = [visitor.get(f"/tapes/1979.3{part}").text for part in ("", "/condition")]
    listing = visitor.get(f"/images/{library.kites}/listing?q=<B>").text

    assert all(HOSTILE not in page for page in pages)
    assert all("&lt;script&gt;" in page for page in pages)
    assert "<mark>&lt;B&gt;</mark>IT IS GONE&lt;/B&gt;" in listing


def test_the_tape_page_says_all_that_a_demonstrator_asks(visitor):
    text = visitor.get("/tapes/1979.2").text

    assert "KITES OVER THE QUARRY" in text
    assert "language interpreter" in text
    assert "one line" in text
    assert "unverified" in text
    assert "300" in text


def test_the_listing_marks_the_line_that_a_finding_touches(visitor, library):
    text = visitor.get(f"/images/{library.damaged}/listing").text

    assert "line line-found" in text
    assert "parity error at frame" in text


def test_a_long_listing_comes_in_parts_whose_lines_keep_their_numbers(visitor, library):
    first = visitor.get(f"/images/{library.long}/listing").text
    second = visitor.get(f"/images/{library.long}/listing?page=2").text

    assert ('id="L5000"' in first, 'id="L5001"' in first) == (True, False)
    assert ('id="L5001"' in second, 'id="L7500"' in second) == (True, True)


def test_a_hit_leads_to_the_line_with_the_run_marked(visitor, library):
    text = visitor.get("/search?q=LINE 7321 OF").text
    link = re.findall(r'href="(/images/[^"]+#L7321)"', text)[0]
    page = visitor.get(link.replace("&amp;", "&").partition("#")[0]).text

    assert "<mark>LINE 7321 OF</mark>" in page
    assert f"/images/{library.long}/listing" in link


def test_the_comparison_shows_the_added_line_by_sign_and_word(visitor, library):
    text = visitor.get(f"/images/{library.kites}/compare/{library.seeded}").text

    assert text.count('class="row-added"') == 1
    assert '<span class="diff-sign">+</span><span class="diff-word">added</span>' in text
    assert "row-changed" not in text
    assert "row-removed" not in text


def test_a_long_comparison_is_shown_in_parts(visitor, library):
    path = f"/images/{library.long}/compare/{library.kites}"
    first, last = visitor.get(path).text, visitor.get(path, params={"page": 8}).text

    assert "Part 1 of 8" in first
    assert f'<a rel="next" href="{path}?page=2#listings">' in first
    assert (first.count('<tr class="row-'), 'rel="next"' in last) == (1000, False)


def test_the_problems_of_the_api_have_their_help(visitor):
    from server.statuses import PROBLEMS

    text = visitor.get("/help/problems").text

    assert [code for code in PROBLEMS if f'id="{code}"' not in text] == []


def test_every_format_has_its_help(visitor):
    from server.tape.formats import FORMATS

    text = visitor.get("/help/formats").text

    assert [name for name in FORMATS if f'id="{name}"' not in text] == []
