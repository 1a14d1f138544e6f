"""`bytes`: places and bytes as the people of the machine wrote them."""

from server.cli import main
from server.commands.console import DONE
from tests.catalog.test_byte_by_byte import bin12

WORDS = [0o7300, 0o1234, *range(0o100, 0o130), 0o4321, 0o5776]


def test_words_are_said_in_octal_at_their_address(archive, tmp_path, said):
    reel = tmp_path / "words.bin"
    reel.write_bytes(bin12(0o300, WORDS))
    main(["upload", str(reel)])
    said()
    assert main(["bytes", "08 D1 0B FE", "--where", "memory"]) == DONE
    assert "  0332: 0124 0125 0126 0127 [4321 5776]" in said().out
