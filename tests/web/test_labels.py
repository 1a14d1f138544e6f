"""Labels: what stands on them, and that their code leads to the tape."""

import re

import numpy as np
import pytest
import zxingcpp
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from server.web.labels import qr_code

MODULE = 8
"""Pixels of one module, as a telephone's camera would see it close by."""


def pixels(svg: str) -> np.ndarray:
    """A QR code drawn from the picture: each stroke of its path is a run of dark modules."""
    size = re.search(r'viewBox="0 0 (\d+) \1"', svg)
    path = re.search(r'<path stroke="#000"[^>]* d="([^"]+)"', svg)
    assert size is not None
    assert path is not None
    grid = np.full((int(size[1]), int(size[1])), 255, np.uint8)
    x, y = 0.0, 0.0
    for command, numbers in re.findall(r"([Mmh])([-0-9. ]+)", path[1]):
        values = [float(each) for each in re.findall(r"-?[0-9.]+", numbers)]
        if command == "M":
            x, y = values
        elif command == "m":
            x, y = x + values[0], y + values[1]
        else:
            grid[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
    return np.kron(grid, np.ones((MODULE, MODULE), np.uint8))


def codes(page: str) -> list[str]:
    """What an independent reader makes of each code on a page."""
    drawn = re.findall(r'<svg role="img"[^>]*class="qr">.*?</svg>', page, re.DOTALL)
    return [each.text for svg in drawn for each in zxingcpp.read_barcodes(pixels(svg))]


@pytest.mark.parametrize(
    "text",
    ["https://archive.example/tapes/2026.1", "http://127.0.0.1:8000/tapes/1978.12.b", "x" * 250],
)
def test_an_independent_reader_reads_what_was_written(text):
    """The reader is zxing-cpp, which shares nothing with the library that draws the code."""
    (found,) = zxingcpp.read_barcodes(pixels(str(qr_code(text, "a code"))))

    assert found.text == text
    assert "QR" in str(found.format)


def test_the_code_of_a_label_leads_to_the_page_of_its_tape(visitor, library):
    page = visitor.get(f"/tapes/{library.copy}/label").text
    (address,) = codes(page)

    assert address == f"http://testserver/tapes/{library.copy}"
    assert f">http://testserver<wbr>/tapes/{library.copy}</p>" in page
    assert f"<title>QR code: {address}</title>" in page
    assert visitor.get(address).status_code == 200


def test_the_public_address_is_printed_where_one_is_set(library):
    settings = Settings(
        database_url=f"sqlite:///{library.path}",
        secure_cookies=False,
        public_address="https://archive.example/feedhole/",
    )
    with TestClient(create_app(settings)) as client:
        page = client.get(f"/tapes/{library.copy}/label").text

    assert codes(page) == [f"https://archive.example/feedhole/tapes/{library.copy}"]


@pytest.mark.parametrize("address", ["archive.example", "ftp://a.example", "https://a b.example"])
def test_a_public_address_that_is_none_stops_the_start(address):
    with pytest.raises(ValueError, match="is no address"):
        Settings(public_address=address)


def test_a_label_says_what_a_demonstrator_needs_first(visitor, library):
    page = visitor.get(f"/tapes/{library.copy}/label").text

    assert f'<p class="label-number">{library.copy}</p>' in page
    assert "Monitor patch" in page
    assert "Needs ROM monitor" in page
    assert " levels" in page
    assert f"copy, punching {library.copied}" in page


def test_a_label_of_a_tape_held_apart_says_so(visitor):
    page = visitor.get("/tapes/1979.3/label").text

    assert "Ask before running" in page
    assert "Do not run this tape" in page
    assert "<script>alert" not in page


def test_several_labels_go_on_a_sheet(visitor, library):
    page = visitor.get("/labels?tape=1979.1&tape=1979.2&copies=2").text

    assert page.count('<article class="label"') == 4
    assert "labels-sheet" in page
    assert codes(page) == [
        f"http://testserver/tapes/{number}" for number in ("1979.1", "1979.1", "1979.2", "1979.2")
    ]


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/labels", 422),
        ("/labels?" + "tape=1979.1&" * 61, 422),
        ("/tapes/1999.9/label", 404),
        ("/tapes/1979.1/label?copies=99", 400),
    ],
)
def test_labels_that_cannot_be_made_are_refused(visitor, path, status):
    assert visitor.get(path).status_code == status
