"""What the two hexadecimal record formats share: finding records, mending them, loading them.

records     every whole record of a text at once, by array operations
mending     the records that fail: what was found, what was due, what can still be told
memory      the bytes loaded, in address order; overlaps and gaps
decoding    the whole way from a view to a decoding
program     what is built: memory and entry address, to characters on a tape
"""
