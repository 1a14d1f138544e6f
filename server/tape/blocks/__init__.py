"""What binary loader blocks share: a mark, a count, an address, bytes, a checksum.

    layout       how a block of a format is written, and every sound block of a tape at once
    walk         from block to block, over blank frames, on past damage
    damage       what was done to a block that does not close
    mending      the single holes that would close it
    told         the same as findings
    certainty    how sure it is that a tape is made of blocks
    loads        what the blocks load
    program      what is built

The way from a view to a decoding is `server.tape.formats.block_decoding`.
"""
