"""What a power cut must not take: content and names of files, once they are on the disk."""

import os
from pathlib import Path


def to_disk(path: Path) -> None:
    """Waits until a file, or the names in a folder, are on the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
