"""`prepare`: a tape made ready for the punch, from a file or from the archive."""

import json
import subprocess
import sys

import pytest

from server.cli import main
from server.commands.console import DONE, REFUSED, UNUSABLE
from server.tape.identify import decode
from tests.api.tapes_to_read import hex_tape
from tests.commands.reels import SHA, TAPE


def test_a_file_is_prepared_without_an_archive(reel, said, monkeypatch, tmp_path):
    monkeypatch.setenv("FEEDHOLE_DATABASE_URL", "sqlite:////nowhere/at/all.db")
    out = tmp_path / "new.tape"

    assert main(["prepare", reel, "--lettering", "ORCHARD TREES", "-o", str(out)]) == DONE
    told = said().out

    assert "Lettering in the leader: ORCHARD TREES." in told
    assert "guards on" in told
    again = decode(out.read_bytes())
    assert again.decoding.content == decode(TAPE).decoding.content
    assert again.lettering == "ORCHARD TREES"


def test_without_an_output_it_only_says_what_it_comes_to(reel, said):
    assert main(["prepare", reel, "--rate", "10", "--json"]) == DONE
    told = json.loads(said().out)

    (facts,) = told["reels"]
    assert facts["seconds"] == pytest.approx(facts["frames"] / 10, abs=0.1)
    assert told["rate"] == 10


def test_several_reels_are_several_files(reel, said, tmp_path):
    out = tmp_path / "new.tape"
    options = ["--frames-per-reel", "500", "--leader-frames", "260", "-o", str(out)]

    assert main(["prepare", reel, *options]) == DONE

    names = sorted(path.name for path in tmp_path.glob("new*"))
    assert names == [f"new-{number}-of-{len(names)}.tape" for number in range(1, len(names) + 1)]
    assert len(names) > 1
    assert "heed:" in said().out


def test_nothing_is_overwritten_and_nothing_half_written(reel, said, tmp_path):
    (tmp_path / "new-2-of-2.tape").write_bytes(b"kept")
    options = ["--frames-per-reel", "500", "--leader-frames", "260"]
    main(["prepare", reel, *options, "--json"])
    assert len(json.loads(said().out)["reels"]) == 2

    assert main(["prepare", reel, *options, "-o", str(tmp_path / "new.tape")]) == UNUSABLE

    assert "File exists" in said().err
    assert [path.name for path in tmp_path.glob("new*")] == ["new-2-of-2.tape"]
    assert (tmp_path / "new-2-of-2.tape").read_bytes() == b"kept"


def test_one_reel_goes_to_standard_output(reel):
    done = subprocess.run(
        [sys.executable, "-m", "server", "prepare", reel, "--parity", "odd", "-o", "-"],
        capture_output=True,
        check=False,
    )

    assert (done.returncode, done.stderr) == (DONE, b"")
    assert decode(done.stdout).decoding.parity == "odd"


def test_several_reels_do_not_go_to_standard_output(reel, said):
    options = ["--frames-per-reel", "500", "--leader-frames", "260", "-o", "-"]

    assert main(["prepare", reel, *options]) == REFUSED
    assert "one standard output" in said().err


@pytest.mark.parametrize(
    ("options", "what"),
    [
        (["--code", "ita2"], "has no"),
        (["--leader-frames", "many"], "leader_frames"),
        (["--format", "bin12"], "does not mean the other"),
        (["--leader-pattern", "channel-8"], "may take a leader"),
    ],
)
def test_what_cannot_be_prepared_is_refused(reel, said, options, what):
    assert main(["prepare", reel, *options]) == REFUSED
    assert what in said().err


def test_what_cannot_be_read_is_unusable(said, tmp_path):
    empty = tmp_path / "empty.bin"
    empty.write_bytes(b"")

    assert main(["prepare", str(tmp_path / "none")]) == UNUSABLE
    assert main(["prepare", str(empty)]) == UNUSABLE
    assert "holds no frames" in said().err


def test_a_rate_must_be_one(reel, capsys):
    for rate in ("0", "slow", "9000"):
        with pytest.raises(SystemExit):
            main(["prepare", reel, "--rate", rate])
    assert "is no rate" in capsys.readouterr().err


def test_an_image_of_the_archive_is_prepared_by_its_digest(archive, reel, said, tmp_path):
    main(["upload", reel])
    out = str(tmp_path / "new.tape")
    said()

    assert main(["prepare", SHA]) == DONE
    assert "1" in said().out
    assert main(["prepare", SHA, "-o", out]) == REFUSED
    assert "--unverified" in said().err
    assert main(["prepare", SHA, "-o", out, "--unverified"]) == DONE
    assert decode((tmp_path / "new.tape").read_bytes()).decoding.content == (
        decode(TAPE).decoding.content
    )


def test_an_image_that_the_archive_does_not_hold_is_refused(archive, said):
    assert main(["prepare", "0" * 64]) == REFUSED
    assert "is held" in said().err


def test_a_verified_image_needs_no_more(archive, said, tmp_path):
    path = tmp_path / "hex.bin"
    path.write_bytes(hex_tape())
    main(["upload", str(path), "--json"])
    sha256 = json.loads(said().out)["sha256"]

    out = tmp_path / "new.tape"
    assert main(["prepare", sha256, "--format", "absolute-block", "-o", str(out)]) == DONE
    assert decode(out.read_bytes()).decoding.format == "absolute-block"
