"""What stands against signing a handover, in a sentence."""

from collections.abc import Sequence

from scheduler.domain.work.handing_over import AgainstHandover, HandoverReason
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import listed

_LISTS = {
    "permits_open": marked("permits"),
    "tags_hanging": marked("points locked and tagged"),
    "personal_locks": marked("personal locks"),
    "lower_minima": marked("lower minima"),
    "postponements_asked": marked("postponements asked"),
    "readings_held": marked("readings held"),
    "parts_short": marked("parts short"),
    "pumps_out": marked("pumps out"),
    "pumps_not_proved": marked("pumps not proved"),
    "lead_order": marked("the lead order"),
}


def handover_reasons_words(reasons: Sequence[HandoverReason]) -> str:
    """All of them; empty where nothing stands against it."""
    said = []
    for code, tail in (
        (AgainstHandover.NOT_LOOKED_AT, _("not looked at together")),
        (AgainstHandover.PERMIT_OLD, _("not issued anew to who takes over")),
    ):
        names = [f"{one.what} ({one.position})" for one in reasons if one.code is code]
        if names:
            said.append(f"{listed(names)} {tail}")
    changed = [_(_LISTS.get(one.what, one.what)) for one in reasons if one.code is AgainstHandover.CHANGED]
    if changed:
        said.append(_("{changed} changed since the first signature: both sign again", changed=listed(changed)))
    return _("Cannot be signed yet: {said}.", said="; ".join(said)) if said else ""
