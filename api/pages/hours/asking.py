"""The questions of the counters page as forms with proposed answers, and an answer as it was typed."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import get_args

from api.pages.hours.view import AskField, AskForm, QuestionView
from api.pages.shared.forms import FormState
from api.routes.shared.fields import Fields
from scheduler.actions.base.context import instant
from scheduler.actions.due.questions import QuestionAnswer, What
from scheduler.domain.hours.questions import Asks, Question
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.wording.figures import clock, field_moment, moment, offset_words, ship
from scheduler.wording.hours import counts_text, counts_words, flag_words, hours_text, unit_name

FIGURE = {"inputmode": "decimal", "autocomplete": "off"}
_LABELS = {
    "earlier": marked("{value} before was misread"),
    "replaced": marked("It was replaced"),
    "misread": marked("It was misread"),
    "preset": marked("It was preset"),
    "rescaled": marked("It counts {what} now"),
    "missing": marked("Add the missing hours"),
    "nothing": marked("Nothing is missing"),
}
_BUTTONS = {
    "earlier": marked("Mark that one as misread"),
    "replaced": marked("Record the replacement"),
    "misread": marked("Mark as misread"),
    "preset": marked("Record the preset"),
    "rescaled": marked("Record the change of scale"),
    "missing": marked("Add these hours"),
    "nothing": marked("Record that nothing is missing"),
}
_WHATS: Mapping[str, What] = {what: what for what in get_args(What)}


def question_view(
    asked: Question, counter: str, position: str, offset: int, *, may: bool, back: "Back"
) -> QuestionView:
    """A question with one form for each answer; without forms for who may only read."""
    qid = f"q-{counter}-{asked.at_s}"
    whats = _answers(asked)
    forms = tuple(_form(asked, counter, qid, what, offset, back) for what in whats) if may else ()
    return QuestionView(
        id=qid,
        heading=_heading(asked, position, offset),
        says=flag_words(asked.flag, position, offset),
        facts=_facts(asked, offset),
        forms=forms,
    )


def _answers(asked: Question) -> tuple[str, ...]:
    """What may be answered, the likeliest first. Where one reading before, or another scale, explains a whole run, nothing is
    offered that would throw the run away or count its hours twice."""
    if asked.asks is Asks.MISSING:
        return ("missing", "nothing", "replaced")
    many = len(asked.readings) > 1
    if asked.earlier is not None:
        return ("earlier", "replaced") if many else ("earlier", "replaced", "misread", "preset")
    if asked.scale is not None:
        return ("rescaled", "replaced") if many else ("rescaled", "replaced", "misread", "preset")
    return ("replaced", "misread", "preset")


@dataclass(frozen=True, slots=True, kw_only=True)
class Back(FormState):
    """An answer that came back. asked: the id of its form; empty at first sight of the page."""

    asked: str = ""


def _heading(asked: Question, position: str, offset: int) -> str:
    if asked.asks is Asks.MISSING:
        return _(
            "{position}: up to {hours_text} may be missing. Add them?",
            position=position,
            hours_text=hours_text(asked.most_s),
        )
    value = counts_words(asked.readings[0].value_milli)
    many = len(asked.readings)
    run = _(", {many} readings held since", many=many) if many > 1 else _(" and was held")
    if asked.earlier is not None:
        before = _(
            "{counts_words} on {moment}",
            counts_words=counts_words(asked.earlier[1]),
            moment=moment(instant(asked.earlier[0]), offset),
        )
        return _(
            "{position} showed {before}, then {value}{run}. Without {counts_words} all fit. Was that misread?",
            position=position,
            before=before,
            value=value,
            run=run,
            counts_words=counts_words(asked.earlier[1]),
        )
    if asked.scale is not None:
        return _(
            "{position} counts {unit_name} since {moment}. Take it so?",
            position=position,
            unit_name=unit_name(asked.scale),
            moment=moment(instant(asked.at_s), offset),
        )
    return _(
        "{position} showed {value} on {moment}{run}. Replaced, misread, or preset?",
        position=position,
        value=value,
        moment=moment(instant(asked.at_s), offset),
        run=run,
    )


def _facts(asked: Question, offset: int) -> tuple[tuple[str, str, str], ...]:
    facts = []
    if asked.good is not None:
        at_s, milli = asked.good
        facts.append((_("Last counted"), counts_words(milli), moment(instant(at_s), offset)))
    if asked.readings:
        first, last = asked.readings[0], asked.readings[-1]
        facts.append((_("Held from"), counts_words(first.value_milli), moment(instant(first.at_s), offset)))
        if len(asked.readings) > 1:
            facts.append((_("Held to"), counts_words(last.value_milli), moment(instant(last.at_s), offset)))
        fit = _("would fit; at most {hours_text} can have run", hours_text=hours_text(asked.most_s))
        facts.append((_("In between"), _("about {hours_text}", hours_text=hours_text(asked.fit_s)), fit))
    return tuple(facts)


def _form(asked: Question, counter: str, qid: str, what: str, offset: int, back: Back) -> AskForm:
    fid = f"{qid}-{what}"
    mine = back.asked == fid
    typed = back.values if mine else {}
    fields = tuple(
        AskField(
            name=name,
            label=label,
            value=typed.get(name, value),
            hint=hint,
            attrs=_attrs(name, value),
            fault=back.faults.get(name, "") if mine else "",
        )
        for name, label, hint, value in [*_asked_for(asked, what, offset), _reason(asked, what)]
    )
    return AskForm(
        id=fid,
        label=_(_LABELS[what]).format(
            what=unit_name(asked.scale) if asked.scale else "",
            value=counts_words(asked.earlier[1]) if asked.earlier else "",
        ),
        help=_help(asked, what),
        action=f"/counters/{counter}/answers",
        button=_(_BUTTONS[what]),
        hidden={
            "question": str(asked.at_s),
            "what": what,
            "utc_offset_minutes": str(offset),
            "idempotency_key": secrets.token_hex(16),
        },
        fields=fields,
        says=back.says if mine else "",
        open=mine,
    )


def _attrs(name: str, value: str) -> Mapping[str, str]:
    if name == "at":
        return {"step": "1"} if value.count(":") > 1 else {}
    return FIGURE if name in ("old_final", "new_first", "hours") else {"autocomplete": "off"}


def _help(asked: Question, what: str) -> str:
    count = len(asked.readings)
    match what:
        case "earlier":
            return _(
                "That reading is false and not used; the count goes on from the one before it, and the readings "
                "since count."
            )
        case "replaced":
            return _(
                "The counter was exchanged. Counted up to the old one's final value, and on from the new one's first."
            )
        case "misread":
            held = _("This reading is") if count == 1 else _("These {count} readings are", count=count)
            return _("{held} false and not used; the count goes on from the last counted value.", held=held)
        case "preset":
            return _(
                "The same counter was set to another value. The jump is worth the hours you give; the count "
                "goes on from it."
            )
        case "missing":
            return _(
                "They are added as an adjustment of their own. At most {hours_text} can have run.",
                hours_text=hours_text(asked.most_s),
            )
        case "rescaled":
            return _(
                "The same counter goes on in other counts; from this reading on one count stands for another time."
            )
    return _("Nothing ran in that time: nothing is added, and this is not asked again.")


def _asked_for(asked: Question, what: str, offset: int) -> list[tuple[str, str, str, str]]:
    """(name, label, hint, proposed value) of the fields of an answer, the reason apart."""
    if what == "replaced":
        final = "" if asked.good is None else counts_text(asked.good[1])
        first = counts_text(asked.readings[0].value_milli) if asked.readings else "0"
        return [
            (
                "at",
                _("Exchanged at"),
                _("Ship time, {offset_words}", offset_words=offset_words(offset)),
                field_moment(instant(asked.at_s), offset, seconds=True),
            ),
            ("old_final", _("The old one showed last"), _("As read; leave it empty when nobody knows"), final),
            ("new_first", _("The new one showed first"), _("As read when it was fitted"), first),
        ]
    if what == "rescaled":
        final = "" if asked.good is None else counts_text(asked.good[1])
        return [
            ("old_final", _("It showed last, in the old counts"), _("Leave it empty when nobody knows"), final),
            ("new_first", _("It showed first, in the new counts"), "", counts_text(asked.readings[0].value_milli)),
        ]
    if what == "preset":
        return [("hours", _("The jump is worth, hours"), _("Running hours in between"), _tenths(asked.fit_s))]
    if what == "missing":
        return [("hours", _("Hours to add"), _("What would fit is proposed; with a dot: 18.5"), _tenths(asked.fit_s))]
    return []


def _reason(asked: Question, what: str) -> tuple[str, str, str, str]:
    first = counts_words(asked.readings[0].value_milli) if asked.readings else ""
    earlier = counts_words(asked.earlier[1]) if asked.earlier else ""
    proposed = {
        "earlier": _("{earlier} is misread: all readings since follow from the one before it.", earlier=earlier),
        "replaced": _("Counter exchanged."),
        "misread": _("{first} is misread: it cannot follow from what the counter showed before.", first=first),
        "preset": _("Counter set to {first} by hand.", first=first),
        "rescaled": _(
            "Counter set to count {unit_name}.", unit_name=unit_name(asked.scale) if asked.scale else _("otherwise")
        ),
        "missing": _("The counter lost hours; the pump ran as usual."),
        "nothing": _("The pump stood while the counter was off."),
    }[what]
    return ("reason", _("Reason"), _("It stays in the record; write what you know"), proposed)


def _tenths(seconds: int) -> str:
    return f"{seconds / 3600:.1f}".removesuffix(".0")


def answer_of(fields: Fields) -> QuestionAnswer:
    """An answer as it was typed.

    Raises:
        Refused: a field that cannot be read, or is needed and empty; one fault a field.
    """
    what = _WHATS.get(fields.text("what"))
    if what is None:
        raise Refused(_("What the answer is was not sent. Load the page again and choose one of the answers."))
    at = fields.instant("at") if what == "replaced" else None
    needed = {"replaced": "new_first", "rescaled": "new_first", "preset": "hours", "missing": "hours"}.get(what)
    old_final, new_first, hours = (
        fields.figure(name, empty=_("this is empty; type the figure, 0 if it is 0.") if name == needed else "")
        for name in ("old_final", "new_first", "hours")
    )
    reason = fields.text("reason")
    if not reason:
        fields.fault("reason", _("this is empty; say why in a few words."))
    fields.check()
    return QuestionAnswer(what=what, reason=reason, at=at, old_final=old_final, new_first=new_first, hours=hours)


def instant_words(at: datetime | None, now_at: datetime, offset: int) -> str:
    """A time today as a clock, else with its date; "not yet" for none."""
    if at is None:
        return _("not yet")
    same = ship(at, offset).date() == ship(now_at, offset).date()
    return _("today\u00a0{clock}", clock=clock(at, offset)) if same else moment(at, offset)
