"""What is typed about a person, and its refusal at the field."""

from scheduler.errors import Refused
from scheduler.language import gettext as _


def checked_name(name: str) -> str:
    """The name without space around and twice. Raises Refused when it is empty or over 200 characters."""
    plain = " ".join(name.split())
    if not plain or len(plain) > 200:
        raise fault_at("name", _("The name has {count} characters; 1 to 200 are expected.", count=len(plain)))
    return plain


def checked_rank(rank: str) -> str:
    """As `checked_name`."""
    plain = " ".join(rank.split())
    if not plain or len(plain) > 100:
        raise fault_at(
            "rank",
            _("The rank has {count} characters; 1 to 100 are expected, such as second engineer.", count=len(plain)),
        )
    return plain


def fault_at(field: str, says: str) -> Refused:
    """The refusal of one field."""
    return Refused(says, faults=[(f"/{field}", says)])
