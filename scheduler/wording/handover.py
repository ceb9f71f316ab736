"""What stands against signing a handover, in a sentence."""

from collections.abc import Sequence

from scheduler.domain.work.handing_over import AgainstHandover, HandoverReason
from scheduler.wording.figures import listed

_LISTS = {
    "permits_open": "permits",
    "tags_hanging": "points locked and tagged",
    "personal_locks": "personal locks",
    "lower_minima": "lower minima",
    "postponements_asked": "postponements asked",
    "readings_held": "readings held",
    "parts_short": "parts short",
    "pumps_out": "pumps out",
    "pumps_not_proved": "pumps not proved",
    "lead_order": "the lead order",
}


def handover_reasons_words(reasons: Sequence[HandoverReason]) -> str:
    """All of them; empty where nothing stands against it."""
    said = []
    for code, tail in (
        (AgainstHandover.NOT_LOOKED_AT, "not looked at together"),
        (AgainstHandover.PERMIT_OLD, "not issued anew to who takes over"),
    ):
        names = [f"{one.what} ({one.position})" for one in reasons if one.code is code]
        if names:
            said.append(f"{listed(names)} {tail}")
    changed = [_LISTS.get(one.what, one.what) for one in reasons if one.code is AgainstHandover.CHANGED]
    if changed:
        said.append(f"{listed(changed)} changed since the first signature: both sign again")
    return f"Cannot be signed yet: {'; '.join(said)}." if said else ""
