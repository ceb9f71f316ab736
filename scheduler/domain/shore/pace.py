"""How much a ship sends at once to her office, and how long she waits after a failure. Pure: chance is an argument."""

FIRST_WAIT_SECONDS, LONGEST_WAIT_SECONDS = 1.0, 300.0
LONGEST_ASKED_SECONDS = 3600.0
"""A Retry-After beyond this is cut to it."""
LEAST_BYTES, FIRST_BYTES, MOST_BYTES = 4_000, 32_000, 3_000_000
"""Of changes as text in one post; packed they are about a tenth. The office takes 4 MB."""


CUTS_FORGIVEN = 4
"""A link that is there and breaks off is tried again soon: as many cuts count as one failure."""


def wait_after(failures: int, asked: float | None, chance: float, *, cut: bool = False) -> float:
    """Seconds to the next try: 1 s, doubled with each failure up to 5 min, between half of it and the whole by chance.

    Args:
        failures: one after the other, 1 or more. asked: seconds the office asked for, never less is waited, up to an hour.
        chance: 0 to 1, so that ships do not come back all at once. cut: the office was there, and the connection broke off.

    >>> [wait_after(failures, None, 1.0) for failures in (1, 2, 9, 10, 99)]
    [1.0, 2.0, 256.0, 300.0, 300.0]
    >>> wait_after(1, None, 0.0), wait_after(1, 60, 1.0), wait_after(1, 1e9, 0.0)
    (0.5, 66.0, 3600.0)
    >>> [wait_after(failures, None, 1.0, cut=True) for failures in (1, 4, 5, 37)]
    [1.0, 1.0, 2.0, 300.0]
    """
    failures = (failures - 1) // CUTS_FORGIVEN + 1 if cut else failures
    grown = min(FIRST_WAIT_SECONDS * 2.0 ** min(failures - 1, 30), LONGEST_WAIT_SECONDS) * (0.5 + chance / 2)
    if asked is None:
        return grown
    return max(grown, min(asked, LONGEST_ASKED_SECONDS) * (1 + chance / 10))


def more_bytes(rate_bytes: int, failed_bytes: int | None = None) -> int:
    """After a full batch came through: twice as much, in small steps where that much did not come through before.

    >>> more_bytes(32_000), more_bytes(2_000_000), more_bytes(16_000, 32_000), more_bytes(32_000, 32_000)
    (64000, 3000000, 20000, 64000)
    """
    if failed_bytes is not None and rate_bytes < failed_bytes <= rate_bytes * 2:
        return min(rate_bytes + LEAST_BYTES, MOST_BYTES)
    return min(rate_bytes * 2, MOST_BYTES)


def fewer_bytes(rate_bytes: int) -> int:
    """After a batch did not come through: half as much.

    >>> fewer_bytes(32_000), fewer_bytes(5_000)
    (16000, 4000)
    """
    return max(rate_bytes // 2, LEAST_BYTES)
