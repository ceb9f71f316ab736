"""What stands around every page: title, ship, navigation, clock; and who may pass which door."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.server.access import DOORS, NoRole
from api.server.deps import Asking
from scheduler.actions.base.context import Context
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.shore.requests import ASKERS
from scheduler.actions.vessel import fleet
from scheduler.domain.vessel.document import Plant, Vessel
from scheduler.language import gettext as _


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """An entry of the navigation. near: 0 always in the row, 1 in the row at a desk and in "More" on a phone, 2 in "More"."""

    label: str
    href: str
    current: bool = False
    near: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What stands around every page.

    here: path of this page, to come back to after the day/night form. now_at none: no ship time is shown (signed out).
    """

    title: str
    here: str
    vessel: str = ""
    subtitle: str = ""
    links: tuple[Link, ...] = ()
    now_at: datetime | None = None
    utc_offset_minutes: int = 0
    person: str = ""
    sign_out_action: str = ""
    shared: bool = False
    """On a shared computer."""
    heard_at: datetime | None = None
    """When a ship that writes aboard was last heard; none: she is written here."""

    @property
    def more(self) -> tuple[Link, ...]:
        """What stands under "More" at a desk or on a phone."""
        return tuple(link for link in self.links if link.near)


def may(who: Asking, method: str, route: str) -> bool:
    """Whether this person passes that door; nobody changes anything from a page of a ship that writes aboard."""
    if who.heard_at is not None and method != "GET":
        return False
    door = DOORS[method, route]
    return isinstance(door, NoRole) or who.actor.role in door


def may_ask(who: Asking) -> bool:
    """Whether this person looks at a page of a ship that writes aboard, and may ask of her what the page is about."""
    return who.heard_at is not None and who.actor.role in ASKERS


def must_pass(who: Asking, method: str, route: str, what: str) -> None:
    """Raises NotAllowed where this person does not pass that door; for a page's form whose page has a wider one."""
    door = DOORS[method, route]
    if not isinstance(door, NoRole):
        who.actor.must_be(door, what)


def frame_of(now: PlantState, who: Asking, here: str, title: str, current: str) -> Frame:
    """What stands around a page of a plant."""
    pumps = sum(now.plant.position_of(pump.id, now.at) is not None for pump in now.plant.pumps)
    return Frame(
        title=f"{title} · {now.vessel.name}",
        here=here,
        vessel=now.vessel.name,
        subtitle=_("{name}, {pumps} pumps", name=now.plant.name, pumps=pumps),
        links=_links(now.vessel, now.plant, current),
        now_at=now.at,
        utc_offset_minutes=now.offset_minutes,
        heard_at=who.heard_at,
        **who_frame(who),
    )


def who_frame(who: Asking) -> dict[str, Any]:
    """What a frame says of who is there."""
    return {
        "person": who.actor.name,
        "sign_out_action": "" if who.csrf is None else "/sign-out",
        "shared": who.shared,
    }


def fleet_links(here: str, who: Asking) -> tuple[Link, ...]:
    """The navigation of pages that belong to no ship; here: the path of this one."""
    pages = [(_("Feed"), "/feeds"), (_("People"), "/people"), (_("Ships"), "/ships"), (_("Fleet"), "/?all=1")]
    return tuple(
        Link(label=label, href=href, current=href == here)
        for label, href in pages
        if href != "/ships" or may(who, "GET", "/ships")
    )


def vessel_frame(context: Context, who: Asking, vessel_id: str, here: str, title: str, current: str) -> Frame:
    """What stands around a page of a vessel as a whole. Raises NotFound."""
    vessel, _ = fleet.get_vessel(context, who.actor, vessel_id)
    return Frame(
        title=f"{title} · {vessel.name}",
        here=here,
        vessel=vessel.name,
        subtitle=title,
        links=_links(vessel, vessel.plants[0], current),
        now_at=context.now(),
        utc_offset_minutes=fleet.offset_now(context, vessel_id),
        heard_at=who.heard_at,
        **who_frame(who),
    )


def _links(vessel: Vessel, plant: Plant, current: str) -> tuple[Link, ...]:
    plants = vessel.plants
    links = [
        Link(label=_("Plant") if len(plants) == 1 else one.name, href=f"/plants/{one.id}", current=current == one.id)
        for one in plants
    ]
    links.append(Link(label=_("Plan"), href=f"/plants/{plant.id}/plan", current=current == "plan"))
    at = next((one.id for one in plant.pumps), None)
    if at is not None:
        links.append(Link(label=_("Pumps"), href=f"/pumps/{at}/record", current=current == "pumps"))
    ship = f"/vessels/{vessel.id}"
    for label, href, at_page, near in (
        (_("Hours"), f"{ship}/counters", "counters", 0),
        (_("Find"), f"{ship}/find", "find", 0),
        (_("Voyage"), f"{ship}/calendar", "calendar", 1),
        (_("Decisions"), f"{ship}/decisions", "decisions", 1),
        (_("Figures"), f"/plants/{plant.id}/figures", "figures", 2),
        (_("Handover"), f"{ship}/handover", "handover", 2),
        (_("Clogs"), f"{ship}/clogs", "clogs", 2),
        (_("Week on paper"), f"/plants/{plant.id}/week", "week", 2),
        (_("Labels"), f"{ship}/labels", "labels", 2),
        (_("Feed"), "/feeds", "feed", 2),
        (_("People"), "/people", "people", 2),
        (_("Fleet"), "/?all=1", "fleet", 2),
    ):
        links.append(Link(label=label, href=href, current=current == at_page, near=near))
    return tuple(links)
