"""How a serving process uses memory and threads; called once, before it serves."""

import ctypes
import gc
import sys
from contextlib import suppress

WORK_THREADS = 16
"""Requests worked on at a time; the rest wait their turn. Four read the database at once, the others wait for the planner or to
write: with 40, as the framework has it, each would only make the others slower and hold memory of its own."""

_ARENAS, _MOST_ARENAS = -8, 2
"""M_ARENA_MAX of mallopt(3). Each thread would else get a heap of its own, which grows to the largest thing it ever made."""
_SWITCH_SECONDS = 0.001
"""How long a thread computes while another waits: what is answered without a thread waits so long for each that computes."""


def settle() -> None:
    """Few heaps, short turns of threads, and what is here now left alone by the collector, since it stays."""
    with suppress(OSError, AttributeError):  # another C library than glibc has no such matter
        ctypes.CDLL(None).mallopt(_ARENAS, _MOST_ARENAS)
    sys.setswitchinterval(_SWITCH_SECONDS)
    gc.collect()
    gc.freeze()
