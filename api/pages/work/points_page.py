"""The page of the isolation points that a pump has not: what was said, who signed, and the forms. Values in, text out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from scheduler.language import gettext as _
from scheduler.shiptime import day_text, ship_time


@dataclass(frozen=True, slots=True, kw_only=True)
class PointsView(FormState):
    """The page. pump: as people call it. points: of the sheet, that may be said not to be there. always: those that never may.

    listed: as the answers tell them, newest first. may_say: this person may say and take back. signs_as: office or master, empty
    for anybody else. refused: the form that was refused (with the number it was about).
    """

    frame: Frame
    pump: str
    record_href: str
    action: str
    points: Sequence[str]
    always: Sequence[str]
    listed: Sequence[Mapping[str, Any]]
    may_say: bool
    signs_as: str
    person_name: str
    done: str = ""
    refused: str = ""
    idempotency_key: str = ""


def points_page(view: PointsView, *, light: str, csrf: str) -> str:
    """What the pump has not, and the forms."""
    offset = view.frame.utc_offset_minutes

    def counts_from(signed_at: str) -> str:
        return day_text(ship_time(datetime.fromisoformat(signed_at), offset).date() + timedelta(days=1))

    good = [one for one in view.listed if one["state"] == "signed"]
    return render(
        "points.html",
        view.frame,
        light,
        csrf,
        view=view,
        heading=_("{pump}: {several} not fitted", pump=view.pump, several=", ".join(one["point"] for one in good))
        if good
        else _("{pump} has every point of the sheet", pump=view.pump),
        counts_from=counts_from,
    )
