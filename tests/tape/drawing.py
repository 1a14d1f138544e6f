"""What hypothesis draws for the tests of the core."""

from hypothesis import strategies as st

PRINTING = bytes(range(0x20, 0x7F))


def listing_text() -> st.SearchStrategy[bytes]:
    """Printing characters and line ends, as a listing has them."""
    characters = st.sampled_from([*PRINTING, 0x0D, 0x0A])
    return st.lists(characters, min_size=1, max_size=300).map(bytes)


def listing_lines() -> st.SearchStrategy[tuple[str, ...]]:
    """Lines of printing characters, none empty at the end."""
    line = st.text(st.characters(min_codepoint=0x21, max_codepoint=0x7E), min_size=1, max_size=60)
    return st.lists(line, min_size=1, max_size=20).map(tuple)
