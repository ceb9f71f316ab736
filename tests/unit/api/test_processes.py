"""Several processes under one that watches them."""

import signal
import subprocess
import sys

import pytest

ACT = """
import sys, time
from api.server.processes import run_processes
sys.exit(run_processes(2, lambda: time.sleep(600), lambda: print("ready", flush=True)))
"""


@pytest.mark.parametrize("sent", [signal.SIGTERM, signal.SIGINT])
def test_processes_that_had_not_begun_when_they_are_asked_to_end_are_no_error(sent: signal.Signals) -> None:
    """They have no way of their own yet to take the signal: it ends them, as it was meant to."""
    with subprocess.Popen([sys.executable, "-c", ACT], stdout=subprocess.PIPE, text=True) as parent:
        try:
            assert parent.stdout is not None
            assert parent.stdout.readline() == "ready\n"
            parent.send_signal(sent)
            assert parent.wait(60) == 0
        finally:
            parent.kill()
