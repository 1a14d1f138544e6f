"""Tapes of the 12-bit minicomputer: two frames a word, origins marked by channel 7.

    frames      what each frame is: leader, origin, data, field, comment; and the programs of a tape
    groups      words that each stand behind their own origin
    pairs       words that go on from an origin, and a checksum at the end
    told        findings about both
    loads       what words load
    program     what is built

Sources: the maker's paper tape system handbook; a secondary description of the roles of channels
7 and 8, field frames and rub-out comments; the checksum rule from memory. Octal throughout.
"""
