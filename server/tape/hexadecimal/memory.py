"""From records to what they load, one that runs past its last address in two stretches."""

import numpy as np

from server.tape.dump import Integers
from server.tape.hexadecimal.records import Records
from server.tape.loading import Loads


def stretches(
    records: Records,
    which: Integers,
    *,
    skip: Integers | int,
    lengths: Integers,
    addresses: Integers,
    room: Integers,
    low: Integers | int,
    frames: tuple[Integers, Integers],
) -> Loads:
    """What the records `which` load, one that runs past the top of its addresses in two.

    Arrays are as long as `records`: `skip` is how many bytes stand before the data, `room`
    how many addresses are left from `addresses` on, `low` where they go on after that, and
    `frames` gives the first frame of each record and the one after its last.
    """
    size = len(records)
    all_low = np.broadcast_to(np.asarray(low, np.int64), size)
    over = which[lengths[which] > room[which]]
    records_of = np.concatenate([which, over])
    kept = np.minimum(lengths[which], room[which])
    at = records.at + skip
    loads = Loads(
        records.raw,
        np.concatenate([at[which], at[over] + room[over]]),
        np.concatenate([kept, lengths[over] - room[over]]),
        np.concatenate([addresses[which], all_low[over]]),
        records_of,
        frames[0][records_of],
        frames[1][records_of],
        ~records.sound[records_of],
    )
    return loads.only(np.argsort(records_of, kind="stable")) if over.size else loads
