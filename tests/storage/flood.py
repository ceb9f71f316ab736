"""A program to be killed: four threads store readings and print each batch once it is acknowledged.

`python -m tests.storage.flood URL FIRST_COUNTER`; a line is `counter_no first_at_s count`.
"""

import sys
import threading

from scheduler.clock import system_clock
from scheduler.storage.database import open_database
from scheduler.storage.intake import Intake

BATCH = 20


def main(url: str, first_counter: int) -> None:
    """Never ends by itself."""
    intake = Intake(open_database(url), system_clock).start()

    def client(counter: int) -> None:
        for at_s in range(0, 10_000_000, BATCH):
            batch = [(counter, at, at * 1000, at) for at in range(at_s, at_s + BATCH)]
            answer = intake.submit("plover", batch).result()
            assert set(answer.doors) == {"stored"}
            sys.stdout.write(f"{counter} {at_s} {BATCH}\n")
            sys.stdout.flush()

    for counter in range(first_counter, first_counter + 4):
        threading.Thread(target=client, args=(counter,)).start()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
