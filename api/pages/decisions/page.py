"""The pages of what was decided, and of one matter that waits for an answer: a non-conformity, or a version of the document."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.pages.shared import layout
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.shared.waits import WaitLine, waits_heading
from scheduler.actions.vessel.fleet import Version
from scheduler.domain.vessel.document import Vessel
from scheduler.language import gettext as _
from scheduler.wording.figures import MONTHS, count_words, inner
from scheduler.wording.names import vessel_job_words

MOST = 40
"""Of each kind that are listed. Older ones stand in the record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionsView:
    """What was decided, as answers tell it, newest first. waits: what waits for this person."""

    frame: Frame
    vessel: Vessel
    here: str
    waits: tuple[WaitLine, ...]
    postponements: Sequence[Mapping[str, Any]]
    non_conformities: Sequence[Mapping[str, Any]]
    reviews: Sequence[Mapping[str, Any]]
    versions: Sequence[Version]
    last_month: str

    @property
    def heading(self) -> str:
        """What waits for somebody, whoever that is."""
        asked = sum(one["state"] == "asked" for one in self.postponements)
        states = [one["state"] for one in self.non_conformities]
        waits = (
            (asked, count_words(asked, "postponement to decide", "postponements to decide")),
            (n := states.count("open"), count_words(n, "non-conformity to answer", "non-conformities to answer")),
            (n := states.count("answered"), count_words(n, "non-conformity to close", "non-conformities to close")),
            (
                n := len(self.versions),
                count_words(n, "change of the document to approve", "changes of the document to approve"),
            ),
        )
        said = [inner(words) for count, words in waits if count]
        text = ", ".join(said)
        return f"{text[:1].upper()}{text[1:]}." if said else _("Nothing waits for a decision.")


@dataclass(frozen=True, slots=True, kw_only=True)
class NonConformityView(FormState):
    """One non-conformity as answers tell it. may_answer, may_close: this person may, and it is time for it."""

    frame: Frame
    vessel: Vessel
    action: str
    decisions_href: str
    job_href: str
    one: Mapping[str, Any]
    may_answer: bool
    may_close: bool
    done: str = ""
    refused: str = ""
    idempotency_key: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionView(FormState):
    """One version of the vessel's document whose changes wait for an approval ashore, or have it."""

    frame: Frame
    action: str
    decisions_href: str
    one: Version
    changes: tuple[str, ...]
    may_approve: bool
    done: str = ""
    refused: str = ""
    idempotency_key: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClogsView(FormState):
    """Clogs that were cleared, newest first, and the form for one."""

    frame: Frame
    action: str
    clogs: Sequence[Mapping[str, Any]]
    may_write: bool
    done: str = ""
    refused: str = ""
    idempotency_key: str = ""

    @property
    def heading(self) -> str:
        """How many, and the riser that is named most."""
        if not self.clogs:
            return _("No clog is noted.")
        risers = [one["riser"] for one in self.clogs if one["riser"]]
        most = max(dict.fromkeys(risers), key=risers.count, default="")
        said = count_words(len(self.clogs), "clog noted", "clogs noted")
        if most and risers.count(most) > 1:
            return _("{said}; {count} of them in riser {riser}.", said=said, count=risers.count(most), riser=most)
        return f"{said}."


def change_words(vessel: Vessel, at: str, was: str, now: str) -> str:
    """A difference of the document with the names of what it is about: "Overhaul, interval running hours: 8000, now 8500"."""
    names = {"imo": _("IMO number")}
    for plant in vessel.plants:
        names |= {plant.id: plant.name} if len(vessel.plants) > 1 else {plant.id: ""}
        names |= {one.id: one.name for one in plant.positions} | {one.id: one.name for one in plant.parts}
        names |= {one.id: _("pump {serial}", serial=one.serial) for one in plant.pumps} | {
            one.code: one.name for one in plant.job_kinds
        }
        names |= {
            one.id: _("counter of {position}", position=names.get(one.position, _("a position")))
            for one in plant.counters
        }
    said = [names.get(part, part.replace("_", " ")) for part in at.split("/") if part not in ("plants", "job_kinds")]
    where = ", ".join(part for part in said if part)
    shown = [re.sub("[ \\t\\r\\n]+", " ", text).strip()[:80] for text in (was, now)]
    place, nothing = f"{where[:1].upper()}{where[1:]}", _("nothing")
    return _("{place}: {was}, now {now}", place=place, was=shown[0] or nothing, now=shown[1] or nothing)


def month_name(month: str) -> str:
    """ "November 2026" of "2026-11"."""
    year, number = month.split("-")
    return f"{_(MONTHS[int(number) - 1])} {year}"


def decisions_page(view: DecisionsView, *, light: str, csrf: str) -> str:
    """What was decided."""
    return layout.render(
        "decisions.html",
        view.frame,
        light,
        csrf,
        view=view,
        job=lambda key, at: vessel_job_words(view.vessel, datetime.fromisoformat(at), key),
        month_name=month_name,
        waits_heading=waits_heading(view.waits),
        most=MOST,
    )


def nonconformity_page(view: NonConformityView, *, light: str, csrf: str) -> str:
    """One non-conformity."""
    job = vessel_job_words(view.vessel, datetime.fromisoformat(view.one["opened_at"]), view.one["job"])
    return layout.render("nonconformity.html", view.frame, light, csrf, view=view, one=view.one, job=job)


def version_page(view: VersionView, *, light: str, csrf: str) -> str:
    """One version of the document."""
    return layout.render("version.html", view.frame, light, csrf, view=view, one=view.one)


def clogs_page(view: ClogsView, *, light: str, csrf: str) -> str:
    """The clogs."""
    return layout.render("clogs.html", view.frame, light, csrf, view=view)
