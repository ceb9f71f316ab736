"""How much a ship sends at once to her office, and how long she waits after a failure. Pure: chance is an argument."""

FIRST_WAIT_SECONDS, LONGEST_WAIT_SECONDS = 1.0, 300.0
LONGEST_ASKED_SECONDS = 3600.0
"""A Retry-After beyond this is cut to it."""
LEAST_BYTES, FIRST_BYTES, MOST_BYTES = 4_000, 32_000, 3_000_000
"""Of changes as text in one post; packed they are about a tenth. The office takes 4 MB."""


def wait_after(failures: int, asked: float | None, chance: float) -> float:
    """Seconds to the next try: 1 s, doubled with each failure up to 5 min, between half of it and the whole by chance.

    Args:
        failures: one after the other, 1 or more. asked: seconds the office asked for, never less is waited, up to an hour.
        chance: 0 to 1, so that ships do not come back all at once.

    >>> [wait_after(failures, None, 1.0) for failures in (1, 2, 9, 10, 99)]
    [1.0, 2.0, 256.0, 300.0, 300.0]
    >>> wait_after(1, None, 0.0), wait_after(1, 60, 1.0), wait_after(1, 1e9, 0.0)
    (0.5, 66.0, 3600.0)
    """
    grown = min(FIRST_WAIT_SECONDS * 2.0 ** min(failures - 1, 30), LONGEST_WAIT_SECONDS) * (0.5 + chance / 2)
    if asked is None:
        return grown
    return max(grown, min(asked, LONGEST_ASKED_SECONDS) * (1 + chance / 10))


def more_bytes(rate_bytes: int) -> int:
    """After a full batch came through: twice as much.

    >>> more_bytes(32_000), more_bytes(2_000_000)
    (64000, 3000000)
    """
    return min(rate_bytes * 2, MOST_BYTES)


def fewer_bytes(rate_bytes: int) -> int:
    """After a batch did not come through: half as much.

    >>> fewer_bytes(32_000), fewer_bytes(5_000)
    (16000, 4000)
    """
    return max(rate_bytes // 2, LEAST_BYTES)
