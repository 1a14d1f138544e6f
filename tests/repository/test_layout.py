"""The repository itself: what may lie where, and what its guide must mention."""

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "server", "templates", "static", "migrations",
    "tests", "seed_data",
}  # fmt: skip

VAGUE = {"utils", "helpers", "common", "misc"}
LONGEST_MODULE = 400
LARGEST_PICTURE = 150_000

# Put together here, so that this file does not hold them itself.
BARRED_WORDS = {"tran" + "script", "seed-" + "document"}


def _files() -> list[str]:
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return [name for name in listed.stdout.splitlines() if (ROOT / name).is_file()]


FILES = _files()


def _text(name: str) -> str:
    try:
        return (ROOT / name).read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""


def test_the_top_level_holds_what_it_may_and_dotfiles():
    top = {Path(name).parts[0] for name in FILES}

    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


def test_no_file_holds_a_barred_word():
    holders = [
        name
        for name in FILES
        for word in re.findall(r"[a-z0-9]+(?:-[a-z0-9]+)*", f"{name} {_text(name)}".lower())
        if word in BARRED_WORDS
    ]

    assert holders == []


def test_no_module_has_a_vague_name():
    assert [name for name in FILES if VAGUE & set(Path(name).with_suffix("").parts)] == []


@pytest.mark.parametrize("name", [name for name in FILES if name.endswith(".py")])
def test_a_module_is_short_enough_to_be_read(name):
    assert len(_text(name).splitlines()) <= LONGEST_MODULE


def test_the_guide_names_every_folder_and_module_at_the_top_of_the_server():
    guide = _text("DEVELOPERS.md")
    server = [Path(name) for name in FILES if name.startswith("server/")]
    folders = {folder.name for path in server for folder in path.parents if folder.name}
    modules = {path.name for path in server if len(path.parts) == 2}

    assert [name for name in sorted(folders) if f"{name}/" not in guide] == []
    assert [name for name in sorted(modules - {"__init__.py"}) if name not in guide] == []


def test_the_readme_names_every_setting():
    from server.settings import Settings

    readme = _text("README.md")
    named = {f"FEEDHOLE_{name.upper()}" for name in Settings.model_fields}

    assert [name for name in sorted(named) if f"`{name}`" not in readme] == []


def test_the_readme_gives_two_commands_and_ci_runs_the_second():
    readme = _text("README.md")
    first, second = re.findall(r"```sh\n(.+)\n```", readme)[:2]

    assert first.startswith("python3 -m venv .venv && ")
    assert first.endswith("-m server demo")
    assert second == "bash tests/run"
    assert _text(".ci/run").splitlines()[-1] == f"exec {second}"


def test_pictures_in_the_readme_are_there_and_small():
    named = re.findall(r"\((static/readme/[^)]+)\)", _text("README.md"))

    assert len(named) >= 4
    assert [name for name in named if (ROOT / name).stat().st_size > LARGEST_PICTURE] == []


def test_every_requirement_is_pinned():
    import tomllib

    project = tomllib.loads(_text("pyproject.toml"))
    required = [
        *project["project"]["dependencies"],
        *project["project"]["optional-dependencies"]["test"],
    ]
    pinned = {_plain(line) for line in _text(".ci/constraints.txt").splitlines() if "==" in line}

    assert [name for name in required if _plain(name) not in pinned] == []
    assert all("==" in name for name in project["build-system"]["requires"])


def _plain(requirement: str) -> str:
    name = re.split(r"[\[=<>~! ]", requirement, maxsplit=1)[0]
    return re.sub(r"[-_.]+", "-", name).lower()
