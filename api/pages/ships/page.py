"""The page Ships: when each ship that writes aboard was last heard, what waits, and what stands against taking."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.layout import render
from scheduler.actions.care.ships_seen import ShipSeen
from scheduler.actions.shore.parted import LifeAnswer, LostRecord
from scheduler.domain.checks.diagnosis import About
from scheduler.language import gettext as _
from scheduler.storage.shore.ships import LineState
from scheduler.wording.care import ship_line_words
from scheduler.wording.figures import count_words, moment


@dataclass(frozen=True, slots=True, kw_only=True)
class ShipsView:
    """The page. lost: by ship, the records of lives that ended. refused: the ship whose form was; form: as it was sent."""

    frame: Frame
    now_at: datetime
    ships: Sequence[ShipSeen]
    lost: Mapping[str, Sequence[LostRecord]]
    may_answer: bool
    once: str
    refused: str
    form: FormState


@dataclass(frozen=True, slots=True, kw_only=True)
class ShipInWords:
    """A ship in words. says: what there is to see to, empty: nothing. lost: records to be entered by hand where they still hold."""

    id: str
    name: str
    heard: str
    says: Sequence[str]
    since: str
    parted: bool
    new_from: int | None
    held: int
    lost: Sequence[tuple[int, str, str]]


def ships_page(view: ShipsView, *, light: str, csrf: str) -> str:
    """Those that something stands against first, then by name."""
    lines = sorted(
        (_line(one, view) for one in view.ships), key=lambda line: (not line.parted, not line.says, line.name)
    )
    return render(
        "ships.html",
        view.frame,
        light,
        csrf,
        view=view,
        heading=_heading(view),
        lines=lines,
        answers=(
            (LifeAnswer.GOES_ON.value, _("It is the ship: her new life goes on")),
            (LifeAnswer.STRAY.value, _("A stray copy: its key ends")),
        ),
    )


def _heading(view: ShipsView) -> str:
    ships = count_words(len(view.ships), "ship", "ships")
    stopped = sum(one.state is not LineState.OPEN for one in view.ships)
    silent = sum(map(_silent, view.ships))
    if stopped:
        return _("{ships}; of {count} nothing is taken.", ships=ships, count=stopped)
    if silent:
        return _("{ships}; {count} not heard from for more than a day.", ships=ships, count=silent)
    return f"{ships}."


def _silent(one: ShipSeen) -> bool:
    return any(look.about is About.SHIP_SILENT for look in one.diagnoses)


def _line(one: ShipSeen, view: ShipsView) -> ShipInWords:
    clock = one.clock or 0
    heard = _("Nothing of hers was taken yet.")
    if one.heard_at is not None:
        at = moment(one.heard_at, clock)
        heard = _("Not heard from since {at}.", at=at) if _silent(one) else _("Last heard {at}.", at=at)
    return ShipInWords(
        id=one.vessel_id,
        name=one.name,
        heard=heard,
        says=ship_line_words(one.diagnoses),
        since=moment(one.since_at, clock) if one.why is not None else "",
        parted=one.state is LineState.PARTED,
        new_from=one.facts.get("number"),
        held=one.number,
        lost=[
            (record.number, record.kind, moment(record.recorded_at, clock))
            for record in view.lost.get(one.vessel_id, ())
        ],
    )
