"""How a process uses memory and threads; and several that do the same, under one that watches them."""

import ctypes
import gc
import logging
import os
import signal
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

log = logging.getLogger("leadline")

_ARENAS, _MOST_ARENAS = -8, 2
"""M_ARENA_MAX of mallopt(3). Each thread would else get a heap of its own, which grows to the largest thing it ever made."""
_SWITCH_SECONDS = 0.001
"""How long a thread computes while another waits: what is answered without a thread waits so long for each that computes."""
_DEATH_SIGNAL = 1
"""PR_SET_PDEATHSIG of prctl(2)."""
AGAIN_SECONDS = 2
"""Before a process that ended is begun anew: one that cannot start does not take the machine."""


def settle() -> None:
    """Few heaps, short turns of threads, and what is here now left alone by the collector, since it stays. Called once."""
    with suppress(OSError, AttributeError):  # another C library than glibc has no such matter
        ctypes.CDLL(None).mallopt(_ARENAS, _MOST_ARENAS)
    sys.setswitchinterval(_SWITCH_SECONDS)
    gc.collect()
    gc.freeze()


def ends_with(parent: int, sent: signal.Signals) -> bool:
    """From now on the system sends that to this process when its parent ends; false: that one has ended already."""
    with suppress(OSError, AttributeError):  # another C library than glibc has no such matter
        ctypes.CDLL(None).prctl(_DEATH_SIGNAL, sent)
    return os.getppid() == parent


def run_processes(many: int, act: Callable[[], object], ready: Callable[[], object] = lambda: None) -> int:
    """Run `act` in so many processes until SIGTERM or SIGINT asks them to end; the exit code: 1 where one ended in error then.

    Called before any thread is started. What `act` raises ends its process, in words on stderr where it is an error of ours.
    """
    asked: list[int] = []
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda sent, _: asked.append(sent))
    children = {_begin(act) for _ in range(many)}
    ready()
    failed = False
    while children:
        if asked:
            for child in children:
                with suppress(ProcessLookupError):
                    os.kill(child, signal.SIGTERM)
            asked.clear()
            many = 0
        ended, status = os.waitpid(-1, os.WNOHANG)
        if not ended:
            time.sleep(0.1)
            continue
        children.discard(ended)
        code = os.waitstatus_to_exitcode(status)
        if many:
            log.error("worker process %d ended with %d; another takes its place", ended, code)
            time.sleep(AGAIN_SECONDS)
            if not asked:
                children.add(_begin(act))
        else:
            failed = failed or code not in (0, -signal.SIGTERM)  # asked to end before it had begun
    return int(failed)


def _begin(act: Callable[[], object]) -> int:
    parent, asking = os.getpid(), {signal.SIGTERM, signal.SIGINT}
    signal.pthread_sigmask(
        signal.SIG_BLOCK, asking
    )  # what comes now is for the child once it no longer keeps it for its parent
    child = os.fork()
    if child:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, asking)
        return child
    code = 1
    try:
        for number in asking:
            signal.signal(number, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, asking)
        if ends_with(parent, signal.SIGTERM):
            act()
        code = 0
    except BaseException as error:
        code = _said(error)
    finally:
        sys.stderr.flush()
        os._exit(code)


def _said(error: BaseException) -> int:
    says: Any = getattr(error, "says", None)
    if says is not None:
        print(f"leadline: {says}", file=sys.stderr)
    else:
        log.error("a worker process failed", exc_info=error)
    return 1
