"""The manual's lists, made from the code each time, so that they cannot go stale.

What the code says of itself stands in the catalogue `manual` of a language: `tests/language` draws the lists to find it.
"""

import inspect
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from functools import cache
from typing import Any

from fastapi.routing import APIRoute
from markupsafe import Markup

from api.commands.shared.exit_codes import ExitCode
from api.pages.drawing import glyph
from api.pages.voyage.page import kind_words
from api.server.access import DOORS, NoRole
from api.server.errors import STATUS, slug
from scheduler.actions.care.rounds import QUEUE_DAYS, RUN_DAYS, TICK_DAYS
from scheduler.actions.people.sessions import ENDED_STAYS
from scheduler.actions.plan.stored import SUPERSEDED_DAYS
from scheduler.actions.shore.sending import KEPT as SENT_STAYS
from scheduler.domain.base.enums import JobState, Role
from scheduler.domain.feed.entries import DONE_DAYS, WITHDRAWN_DAYS
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.shore.asking import EFFECTS
from scheduler.domain.vessel.isolation import POINTS, off_order
from scheduler.domain.vessel.job_kinds import OPENING_CAUTION
from scheduler.domain.voyage.stretches import FIRST_KINDS
from scheduler.errors import SchedulerError
from scheduler.language import gettext as _
from scheduler.settings import Settings
from scheduler.wording.requests import effect_words, request_kind_words

STATES: Mapping[JobState, str] = {
    JobState.AHEAD: "its window has not opened; nothing is to be done yet",
    JobState.WINDOW_OPEN: "it may be done from now on, and counts as on time",
    JobState.PAST_DUE: "its due point has gone by; there is time until the limit",
    JobState.PAST_LIMIT: "its limit has gone by: a non-conformity is opened, to be answered and closed",
    JobState.POSTPONED: "a later limit was granted; the due point stays where it was",
    JobState.NOT_KNOWN: "nobody has said when it was last done: planned as due now, judged by nothing",
    JobState.DONE: "closed, with its record",
    JobState.WITHDRAWN: "no longer asked for, because its pump, part or job kind is gone",
}
VERDICTS: Mapping[Verdict, str] = {
    Verdict.EARLY: "done before its window opened",
    Verdict.IN_WINDOW: "done inside its window, not after its due point",
    Verdict.WITHIN_LIMIT: "done after its due point and not after its limit",
    Verdict.POSTPONED: "done after its limit, within the limit that was granted",
    Verdict.LATE: "done after its limit, and after the limit granted, if there was one",
    Verdict.BREAKDOWN: "a repair without a plan: it had no due point",
    Verdict.NOT_JUDGED: "nobody knew when it was last done, so there was no due point to judge it by",
}
ROLES: Mapping[Role, str] = {
    Role.COUNTER: "a program, not a person: posts readings of its own ship and does nothing else",
    Role.SHIP: "a ship's own server, not a person: brings the office what was written aboard and does nothing else",
    Role.ENGINEER: "reads everything of the own ship, works on jobs, enters hours and days, takes a plan, moves a slot",
    Role.CHIEF: "all that an engineer may, decides postponements that others asked for, signs a lower minimum and the month, exports",
    Role.HOTEL: "reads, and signs a lower minimum as the second where the ship names hotel",
    Role.CHIEF_OFFICER: "reads, and signs a lower minimum as the second where the ship names the chief officer",
    Role.MASTER: "reads; signs and decides for the chief engineer while the link to the office is down; signs points not fitted",
    Role.OFFICE: "all ships: decides what the chief engineer asked for, changes ships' documents, exports",
    Role.ADMIN: "whoever runs the server, at its command line",
}


def tables(routes: Sequence[APIRoute]) -> Mapping[str, Callable[[], Markup]]:
    """Every list by the name that the texts call it by. routes: of the application, for its doors."""
    return {
        "states": lambda: _table(
            (_("State"), _("What it means")),
            [
                (Markup('<span class="state">{}<span>{}</span></span>').format(glyph(one), _(one.value)), _(says))
                for one, says in STATES.items()
            ],
        ),
        "verdicts": lambda: _table(
            (_("Verdict"), _("What it means")), [(_(one.value), _(says)) for one, says in VERDICTS.items()]
        ),
        "roles": lambda: _table(
            (_("Role"), _("What it may do")), [(_(one.value), _(says)) for one, says in ROLES.items()]
        ),
        "points": _points,
        "caution": lambda: Markup('<p class="caution-line"><b>{}.</b> {}</p>').format(
            *_(OPENING_CAUTION).split(". ", 1)
        ),
        "day-kinds": lambda: _table(
            (_("Kind of day"), _("Share of a day at sea, to begin with")),
            [(kind_words(one.code), f"{one.weight:g}") for one in FIRST_KINDS],
        ),
        "tiers": _tiers,
        "settings": _settings,
        "exit-codes": lambda: _table(
            (_("Code"), _("What it means")), [(str(one.value), _(one.meaning)) for one in ExitCode]
        ),
        "problems": lambda: _table(
            (_("Status"), _("Type"), _("What it means")),
            [
                (str(status), _code(f"/problems/{slug(kind)}"), _(title if kind is SchedulerError else _first(kind)))
                for kind, (status, title) in sorted(STATUS.items(), key=lambda one: one[1])
            ],
        ),
        "doors": lambda: _doors(routes, "/api/"),
        "pages": lambda: _doors(routes, "/", but=("/api/",)),
        "commands": _commands,
        "requests": lambda: _table(
            (_("What is asked"), _("When it takes effect")),
            [(request_kind_words(one), effect_words(when)) for one, when in EFFECTS.items()],
        ),
        "stays": _stays,
    }


def _stays() -> Markup:
    """How long what is stored stays, from the figures by which it goes."""
    good, usual = _("for good"), Settings()
    return _table(
        (_("What"), _("How long it stays")),
        [
            (_("Readings, what was refused of them, the ledger"), good),
            (_("The record, each version of the document, jobs and their photos"), good),
            (_("What the office asked of a ship, and what came of it"), good),
            (_("A plan that nobody took"), _("until the next one is made")),
            (
                _("A plan that was taken and superseded"),
                _("{days} days with its slots; its digest in the record for good", days=SUPERSEDED_DAYS),
            ),
            (_("At the office: what a ship sent"), _("for good; what is shown of her can be built anew from it")),
            (_("Aboard: what the office has already"), _("{days} days", days=SENT_STAYS.days)),
            (
                _("A sign-in"),
                _(
                    "{hours} hours, or as session_hours says; that it was, {days} days more",
                    hours=usual.session_hours,
                    days=ENDED_STAYS.days,
                ),
            ),
            (
                _("A link to sign in by"),
                _("{minutes} minutes, or as link_minutes says; used once", minutes=usual.link_minutes),
            ),
            (
                _("Entries of a calendar: done, withdrawn"),
                _("{done} and {withdrawn} days", done=DONE_DAYS, withdrawn=WITHDRAWN_DAYS),
            ),
            (
                _("That a timer had its turn; its nights; what waited for workers"),
                _("{ticks}, {nights} and {jobs} days", ticks=TICK_DAYS, nights=RUN_DAYS, jobs=QUEUE_DAYS),
            ),
            (_("What was answered under an Idempotency-Key"), good),
            (
                _("Backups of the night"),
                _("the newest {count}, or as many as backup_count says", count=usual.backup_count),
            ),
            (_("Exports, papers, a month's report"), _("nowhere: each is made when it is asked for")),
        ],
    )


def _points() -> Markup:
    order = off_order(POINTS)
    rows = [(_(point.name), str(place), str(order.index(point.name) + 1)) for place, point in enumerate(POINTS, 1)]
    return _table((_("Isolation point"), _("Lock and tag"), _("Off again")), rows)


def _tiers() -> Markup:
    from scheduler.planning.search.tiers import EVEN_MARGIN, TIERS

    even = _("{tier}; only where the plant asks for it", tier=_(EVEN_MARGIN.name))
    names = [*(_(one.name) for one in TIERS[:-1]), even, _(TIERS[-1].name)]
    return Markup("<ol>{}</ol>").format(Markup("").join(Markup("<li>{}</li>").format(name) for name in names))


def _settings() -> Markup:
    rows = []
    for one in fields(Settings):
        least, most = one.metadata["least"], one.metadata["most"]
        says = _(one.metadata["says"])
        if most is not None:
            says = _("{says}; {least} to {most}", says=says, least=least, most=most)
        elif least is not None:
            says = _("{says}; {least} or more", says=says, least=least)
        rows.append((_code(one.name), _code(_plain(one.default)) if _plain(one.default) else _("empty"), says))
    return _table((_("Setting"), _("If not set"), _("What it is")), rows, wide=True)


def _plain(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _doors(routes: Sequence[APIRoute], under: str, but: tuple[str, ...] = ()) -> Markup:
    """One row a door: method and path, who may pass, what it does."""
    rows = []
    for route in sorted(routes, key=lambda one: one.path):
        if route.path.startswith(under) and not route.path.startswith(but or ("\0",)):
            for method in sorted(route.methods or ()):
                if (method, route.path) in DOORS and method not in ("HEAD", "OPTIONS"):
                    who = _who(method, route.path)
                    rows.append((_code(f"{method} {route.path}"), who, _(_first(route.endpoint))))
    heads = (_("Door"), _("Who"), _("What it does"))
    return _table(heads, rows, wide=True, label=_("Doors under {path}", path=under))


def _who(method: str, path: str) -> str:
    may = DOORS[method, path]
    if isinstance(may, NoRole):
        return _(may.value)
    return ", ".join(_(one.value) for one in Role if one in may and one is not Role.ADMIN)


def _commands() -> Markup:
    return _table(
        (_("Command"), _("What it does")), [(_code(words), _(says)) for words, says in _each_command()], wide=True
    )


@cache
def _each_command() -> tuple[tuple[str, str], ...]:
    """Each command by its words, and the first sentence of its help."""
    from typer.main import get_command

    from api.commands.app import app

    rows: list[tuple[str, str]] = []

    def walk(command: Any, words: str) -> None:
        inside = getattr(command, "commands", None)
        if inside is None:
            rows.append((words, _sentence(command.help or "")))
        for word, one in sorted((inside or {}).items()):
            walk(one, f"{words} {word}")

    walk(get_command(app), "leadline")
    return tuple(rows)


def _first(documented: object) -> str:
    """The first sentence of what it says of itself."""
    return _sentence(inspect.getdoc(documented) or "")


def _sentence(text: str) -> str:
    paragraph = " ".join(text.split("\n\n")[0].split())
    return re.split(r"(?<=[.])\s", paragraph)[0]


def _code(text: str) -> Markup:
    return Markup("<code>{}</code>").format(text)


def _table(
    heads: Sequence[str], rows: Iterable[Sequence[str | Markup]], *, wide: bool = False, label: str = ""
) -> Markup:
    """A table that scrolls by itself where it is wider than the screen. label: if empty, its heads."""
    head = Markup("").join(Markup('<th scope="col">{}</th>').format(one) for one in heads)
    lines = [
        Markup('<tr><th scope="row">{}</th>{}</tr>').format(
            first, Markup("").join(Markup("<td>{}</td>").format(one) for one in more)
        )
        for first, *more in rows
    ]
    return Markup(
        '<div class="scroll" tabindex="0" role="region" aria-label="{}"><table class="drawn{}"><thead><tr>{}</tr></thead>'
        "<tbody>\n{}\n</tbody></table></div>"
    ).format(label or ", ".join(heads), " wide-table" if wide else "", head, Markup("\n").join(lines))
