"""Stores readings one commit at a time, says each after its commit, and ends without closing anything.

`python -m tests.durability.writing URL FULL|NORMAL COUNT`; the settings are this program's but for the word given.
"""

import os
import sys

from scheduler.clock import system_clock
from scheduler.storage import database
from scheduler.storage.database import open_database
from scheduler.storage.hours.intake import Intake


def main(url: str, synchronous: str, count: int) -> None:
    """Counter 1 gets a reading a second, from second 0."""
    database._PRAGMAS = tuple(pragma.replace("= FULL", f"= {synchronous}") for pragma in database._PRAGMAS)
    intake = Intake(open_database(url), system_clock).start()
    for at_s in range(count):
        intake.submit("plover", [(1, at_s, 1, 1)]).result(60)
        os.write(1, f"{at_s}\n".encode())
    os._exit(0)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]))
