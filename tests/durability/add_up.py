"""Four processes that each read a number, add one and write it back, 300 times.

`python -m tests.durability.add_up URL ours|default`; prints how many of the additions were committed.
"""

import os
import sys

from sqlalchemy import create_engine
from sqlalchemy.exc import OperationalError
from sqlmodel import Session, select

from scheduler.storage.database import open_database, parse_url
from scheduler.storage.vessel import RevisionRow

PROCESSES, TIMES = 4, 300
ROW = select(RevisionRow).where(RevisionRow.vessel_id == "plover")


def ours(url: str) -> int:
    """By this program's way to write."""
    database = open_database(url, check=False)
    for _ in range(TIMES):
        with database.write("") as session:
            session.exec(ROW).one().number += 1
    database.close()
    return TIMES


def default(url: str) -> int:
    """By an engine with the driver's default settings."""
    engine = create_engine(parse_url(url))
    done = 0
    for _ in range(TIMES):
        try:
            with Session(engine) as session:
                session.exec(ROW).one().number += 1
                session.commit()
                done += 1
        except OperationalError:  # "database is locked" at once, since it read before it wanted to write
            continue
    engine.dispose()
    return done


def main(url: str, way: str) -> None:
    """Forks the processes; each says by a pipe how many of its additions were committed."""
    ends = []
    for _ in range(PROCESSES):
        read, write = os.pipe()
        if os.fork() == 0:
            count = (ours if way == "ours" else default)(url)
            os.write(write, str(count).encode())
            os._exit(0)
        os.close(write)
        ends.append(read)
    counts = [os.read(end, 20) for end in ends]
    for _ in range(PROCESSES):
        os.wait()
    print(sum(int(count) for count in counts))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
