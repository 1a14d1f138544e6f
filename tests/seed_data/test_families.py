"""The families of the demonstration tell the story that its library file invents."""

import tomllib
from collections.abc import Iterator

import pytest
from sqlalchemy import Engine

from server import demo
from server.catalog import families, programs
from server.catalog.family_values import Decided, Member, NewDecision
from server.catalog.program_values import ProgramQuery
from server.catalog.work import COMMAND, unit_of_work
from server.checkout import SEED_DATA
from server.tape.image import Image

LIBRARY = tomllib.loads((SEED_DATA / "library.toml").read_text(encoding="utf-8"))


def story(title: str) -> dict[str, str | None]:
    """Which version follows which, as the library file says."""
    (told,) = (each for each in LIBRARY["program"] if each["title"] == title)
    return {each["label"]: each.get("follows") for each in told["version"]}


def laid_out(member: Member, on: str | None = None) -> Iterator[tuple[str, str | None]]:
    """Which version hangs on which; what is no version passes on the one that it hangs on."""
    if member.label is not None:
        yield member.label, on
    for each in member.members:
        yield from laid_out(each, member.label or on)


def test_distances_alone_lay_the_versions_out_as_they_were_made(engine: Engine):
    demo.load(engine)
    several = 0
    with unit_of_work(engine, COMMAND) as work:
        for decision in LIBRARY["decision"]:
            name = sha256_of(decision["image"])
            families.decide(work, name, NewDecision(kind=Decided.UNDECIDED))
        for row in programs.page(work, ProgramQuery(page_size=200)).rows:
            family = families.of_program(work, row.id)
            assert family.root is not None
            assert dict(laid_out(family.root)) == story(row.title), row.title
            several += row.versions > 1
    assert several >= 5


def sha256_of(image: str) -> str:
    return Image.of((SEED_DATA / "images" / image).read_bytes()).sha256


@pytest.mark.parametrize("decision", LIBRARY["decision"])
def test_made_from_is_said_where_somebody_knows_and_as_the_story_goes(
    sqlite_engine: Engine, decision: dict[str, str]
):
    demo.load(sqlite_engine)
    with unit_of_work(sqlite_engine, COMMAND, writes=False) as work:
        family = families.of_image(work, sha256_of(decision["image"]))
    assert family.root is not None
    known = [(each, on) for each, on in pairs_of(family.root) if each.decision is not None]
    ((member, on),) = known
    assert member.made_from
    assert (member.sha256, on.sha256) == (
        sha256_of(decision["image"]), sha256_of(decision["other"])
    )  # fmt: skip
    assert story(family.title)[member.label or ""] == on.label


def pairs_of(member: Member) -> Iterator[tuple[Member, Member]]:
    for each in member.members:
        yield each, member
        yield from pairs_of(each)


@pytest.mark.parametrize(
    ("number", "on", "kinship"),
    [
        ("2018.9", "2018.10", "part-of"),
        ("2018.3", "2018.2", "same-listing"),
        ("2018.4", "2018.2", "same-content"),
        ("2019.10", "2019.9", "near"),
    ],
)
def test_copies_hang_on_what_they_are_copies_of(
    sqlite_engine: Engine, number: str, on: str, kinship: str
):
    demo.load(sqlite_engine)
    with unit_of_work(sqlite_engine, COMMAND, writes=False) as work:
        roots = [
            families.of_program(work, row.id).root
            for row in programs.page(work, ProgramQuery(page_size=200)).rows
        ]
    pairs = [pair for root in roots if root is not None for pair in hanging(root)]
    assert (number, on, kinship) in pairs


def hanging(member: Member) -> Iterator[tuple[str | None, str | None, str]]:
    for each in member.members:
        assert each.kin is not None
        yield each.accession, member.accession, each.kin.kinship
        yield from hanging(each)
