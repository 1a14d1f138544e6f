"""`upload`, `search`, `tapes`, `kin` and `download`."""

import hashlib
import json
import sys

import pytest

from server.cli import main
from server.commands.console import DONE, REFUSED, UNUSABLE
from tests.api.tapes_to_read import ORCHARD, hex_tape, text_tape
from tests.commands.reels import SHA, TAPE


def test_an_upload_tells_what_became_of_it(archive, reel, said):
    assert main(["upload", reel]) == DONE
    assert f"taken in as {SHA}" in said().out
    assert main(["upload", reel]) == DONE
    assert f"held already as {SHA}" in said().out


def test_an_upload_as_json_is_the_receipt_of_the_api(archive, reel, said):
    main(["upload", reel, "--json"])
    told = json.loads(said().out)

    assert tuple(told)[:5] == ("sha256", "bytes", "duplicate_of", "decoding", "kin")
    assert told["decoding"]["readings"][0]["file_name"] == "reel.bin"


def test_an_upload_that_is_refused_names_its_file_and_stops_no_other(archive, reel, tmp_path, said):
    empty = tmp_path / "empty.bin"
    empty.write_bytes(b"")

    assert main(["upload", str(empty), reel]) == REFUSED
    told = said()
    assert f"{empty}: The file is empty." in told.err
    assert SHA in told.out
    assert main(["upload", str(tmp_path / "none")]) == UNUSABLE
    assert "none: No such file" in said().err
    assert main(["upload", reel, "--tape", "1901.1"]) == REFUSED
    assert "1901.1" in said().err


def test_a_search_tells_the_line(archive, reel, said):
    main(["upload", reel])
    said()

    assert main(["search", "apples this"]) == DONE
    told = said().out
    assert f'{SHA}  reel.bin, listing, line 7: 70 PRINT "APPLES THIS YEAR:";A' in told
    assert told.endswith("1 found\n")
    assert main(["search", "apples this", "--json"]) == DONE
    assert json.loads(said().out)["line"] == 7


def test_a_search_goes_on_to_the_last_part(archive, said):
    from server.catalog import tapes
    from server.catalog.tape_values import NewTape
    from server.catalog.work import COMMAND, unit_of_work
    from server.store.engine import make_engine

    engine = make_engine(archive)
    with unit_of_work(engine, COMMAND) as work:
        for number in range(30):
            tapes.create(work, NewTape(title=f"Pump reel {number}"))
    engine.dispose()

    main(["search", "pump", "--json"])
    assert len(said().out.splitlines()) == 30
    main(["tapes", "list"])
    told = said().out
    assert "Pump reel 29" in told
    assert "page 1 of 1, 30 tapes" in told
    main(["tapes", "list", "--json"])
    assert json.loads(said().out.splitlines()[0])["title"] == "Pump reel 0"


def test_kin_are_told_in_words_and_as_json(archive, reel, tmp_path, said):
    longer = tmp_path / "longer.bin"
    longer.write_bytes(text_tape([*ORCHARD[:2], "25 PRINT", *ORCHARD[2:]]))
    main(["upload", reel])
    assert main(["kin", SHA]) == DONE
    assert "Nothing held resembles it." in said().out
    main(["upload", str(longer)])
    assert "one line added" in said().out
    main(["kin", SHA])
    assert "one line removed" in said().out
    main(["kin", SHA, "--json"])
    assert json.loads(said().out)["removed"] == 1


def test_kin_are_found_in_everything(archive, reel, tmp_path, said):
    longer = tmp_path / "longer.bin"
    longer.write_bytes(text_tape([*ORCHARD[:2], "25 PRINT", *ORCHARD[2:]]))
    main(["upload", reel, str(longer)])
    said()
    assert main(["kin", "--everything"]) == DONE
    told = said().out
    assert "looks taken" in told
    assert told.endswith("2 images looked at, 1 pairs of kin recorded.\n")
    assert main(["kin", "--everything", "--json"]) == DONE
    assert json.loads(said().out)["standing"] == "done"


@pytest.mark.parametrize("given", [["kin"], ["kin", SHA, "--everything"]])
def test_kin_are_asked_of_one_image_or_of_everything(given, said):
    with pytest.raises(SystemExit) as stopped:
        main(given)
    assert stopped.value.code == UNUSABLE


def test_an_image_that_nothing_vouches_for_is_only_written_when_asked_for_so(
    archive, reel, tmp_path, said
):
    out = tmp_path / "out.bin"
    main(["upload", reel])

    assert main(["download", SHA, str(out)]) == REFUSED
    assert "--unverified" in said().err
    assert not out.exists()
    assert main(["download", SHA, str(out), "--unverified"]) == DONE
    assert out.read_bytes() == TAPE


def test_a_download_never_writes_over_a_file(archive, reel, tmp_path, said):
    main(["upload", reel])

    assert main(["download", SHA, reel, "--unverified"]) == UNUSABLE
    assert "reel.bin: File exists" in said().err


def test_a_download_to_standard_output_is_the_frames_and_nothing_else(
    archive, tmp_path, capfdbinary
):
    data = hex_tape()
    path = tmp_path / "hex.bin"
    path.write_bytes(data)
    main(["upload", str(path)])
    sys.stdout.flush()
    capfdbinary.readouterr()

    assert main(["download", hashlib.sha256(data).hexdigest(), "-"]) == DONE
    assert capfdbinary.readouterr().out == data


@pytest.mark.parametrize(
    "args", [["kin", "0" * 64], ["download", "0" * 64, "-"], ["kin", "nothing"]]
)
def test_an_image_that_is_not_held_is_refused(archive, args, said):
    assert main(args) == REFUSED
    assert "held" in said().err
