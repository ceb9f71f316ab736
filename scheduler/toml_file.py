"""Small text files that a person writes, such as settings: read whole, as far as such a file can be long."""

import tomllib
from pathlib import Path
from typing import Any

from scheduler.errors import Refused

MOST_BYTES = 1024 * 1024


def read_small(path: Path) -> str:
    """The text of a file. Raises OSError, UnicodeDecodeError; ValueError where it is over 1 MiB (a device has no end)."""
    with path.open("rb") as file:
        found = file.read(MOST_BYTES + 1)
    if len(found) > MOST_BYTES:
        raise ValueError(f"it has more than {MOST_BYTES} bytes")
    return found.decode("utf-8")


def read_toml(path: Path, name: str, otherwise: str) -> dict[str, Any]:
    """The values in a TOML file.

    Args:
        name: what the file is called in an error. otherwise: what to do where it cannot be read.

    Raises:
        Refused: it cannot be read, or is not TOML.
    """
    try:
        return tomllib.loads(read_small(path))
    except OSError as error:
        raise Refused(f"{name} {path} cannot be read: {error.strerror}. {otherwise}") from error
    except (ValueError, RecursionError) as error:  # what tomllib raises, and text that is not UTF-8, are ValueErrors
        raise Refused(f"{name} {path} is not TOML: {error}.") from error
