"""By which names others reach the program: doors and commands."""

import re
from typing import Any

from tests.frozen import doors


def names_of_today() -> dict[str, Any]:
    """Doors as `METHOD /path/{}`, since how a place in a path is called inside says nothing to who asks; commands."""
    there = {f"{method} {re.sub(r'{[^}]*}', '{}', path)}" for method, path in doors.doors_of_the_app()}
    return {"doors": sorted(there), "commands": doors.command_words()}
