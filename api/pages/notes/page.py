"""The page of what is noted, decided and signed on a vessel: clogs, handover, postponements, non-conformities, reviews."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.pages.shared import layout
from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from scheduler.actions.vessel.fleet import Version


@dataclass(frozen=True, slots=True, kw_only=True)
class NotesView(FormState):
    """The lists as the answers tell them, newest first; versions: of the vessel's document whose changes wait for an
    approval ashore. last_month: the last that is over, as 2026-10. done: which form was just taken, in words.

    refused: the form that was refused (`do`, with the number it was about), what was typed, and why.
    """

    frame: Frame
    action: str
    may_write: bool
    may_decide: bool
    may_close: bool
    may_approve: bool
    may_review: bool
    last_month: str
    clogs: Sequence[Mapping[str, Any]] = ()
    handovers: Sequence[Mapping[str, Any]] = ()
    postponements: Sequence[Mapping[str, Any]] = ()
    non_conformities: Sequence[Mapping[str, Any]] = ()
    reviews: Sequence[Mapping[str, Any]] = ()
    versions: Sequence[Version] = ()
    done: str = ""
    refused: str = ""
    idempotency_key: str = ""

    @property
    def heading(self) -> str:
        """What waits for somebody."""
        waits = [
            (sum(one["state"] == "asked" for one in self.postponements), "postponement to decide"),
            (sum(one["state"] == "open" for one in self.non_conformities), "non-conformity to answer"),
            (sum(one["state"] == "answered" for one in self.non_conformities), "non-conformity to close"),
            (sum(one["signed_by"] is None for one in self.handovers), "handover note to sign"),
            (len(self.versions), "change of the document to approve"),
        ]
        said = [f"{count} {words if count == 1 else _many(words)}" for count, words in waits if count]
        return ", ".join(said).capitalize() + "." if said else "Nothing waits for a decision or a signature."


def _many(words: str) -> str:
    first, rest = words.split(" ", 1)
    if first.endswith("y"):
        return f"{first[:-1]}ies {rest}"
    return words.replace("note", "notes", 1) if first == "handover" else f"{first}s {rest}"


def notes_page(view: NotesView, *, light: str, csrf: str) -> str:
    """The page."""
    return layout.render("notes.html", view.frame, light, csrf, view=view, parsed=datetime.fromisoformat)
