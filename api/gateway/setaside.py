"""The put-aside list as a file: what leaves the buffer by hand is on the disk elsewhere first."""

import csv
import os
from collections.abc import Sequence
from pathlib import Path

from api.gateway.buffer import PutAside
from scheduler.errors import Refused


def write_out(rows: Sequence[PutAside], path: Path) -> None:
    """Write the list into a new CSV file (RFC 4180), on the disk when this returns. Raises Refused, also when it is there."""
    try:
        with path.open("x", encoding="utf-8", newline="") as file:
            sheet = csv.writer(file)
            sheet.writerow(PutAside._fields[1:])
            sheet.writerows(row[1:] for row in rows)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError as error:
        raise Refused(f"{path} is there already. Name a new file.") from error
    except OSError as error:
        raise Refused(f"{path} cannot be written: {error.strerror}. Nothing was moved.") from error
