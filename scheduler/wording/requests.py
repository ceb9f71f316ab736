"""What the office asks of a ship, in words: what it is, when it takes effect, how far it is, and why it was not done."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any

from scheduler.domain.shore.asking import EFFECTS, Effect, Lapse, RequestKind, RequestStage
from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.parsing import read_date
from scheduler.shiptime import day_text
from scheduler.wording.figures import inner

KIND_WORDS: Mapping[RequestKind, str] = {
    RequestKind.DECIDE_POSTPONEMENT: marked("a postponement decided"),
    RequestKind.CLOSE_NON_CONFORMITY: marked("an answered non-conformity closed"),
    RequestKind.CONFIRM_HOURS: marked("hours taken away, confirmed"),
    RequestKind.SET_PART_DATE: marked("the date of a job's parts"),
    RequestKind.APPROVE_VERSION: marked("a changed document approved"),
    RequestKind.CHANGE_DOCUMENT: marked("intervals, windows, tolerances, the minimum, job kinds or the crew changed"),
    RequestKind.TAKE_STEP: marked("a step of the work"),
    RequestKind.CLOSE_JOB: marked("a job closed"),
    RequestKind.RECORD_TEST: marked("a pull-down test"),
    RequestKind.GIVE_READINGS: marked("readings"),
    RequestKind.SIGN_ABOARD: marked("a signature of the chief engineer or of the hotel side"),
}
"""What may be asked, as lists say it."""

EFFECT_WORDS: Mapping[Effect, str] = {
    Effect.AT_ONCE: marked("when it is read aboard, if its conditions hold there"),
    Effect.AFTER_CHIEF: marked("when the chief engineer has accepted it aboard"),
    Effect.NEVER: marked("never from the office: it is done aboard, by who does it"),
}
"""When it takes effect."""

_LAPSES: Mapping[Lapse, Callable[[Mapping[str, Any]], str]] = {
    Lapse.RAN_OUT: lambda said: f"It was to be done by {said['until']} and was not.",
    Lapse.PUMP_STOPPED: lambda said: (
        f"{' and '.join(said['pumps'])} {'is' if len(said['pumps']) == 1 else 'are'} out by now, which the office did not know when "
        "it decided. Look at the plant and decide anew."
    ),
    Lapse.ANSWER_CHANGED: lambda said: (
        f"Non-conformity {said['number']} was answered anew since the office read it. Read the answer of today, then close it."
    ),
}
"""Said once aboard and stored, in English like all that is on record."""


def request_kind_words(what: RequestKind) -> str:
    """What is asked, as a list says it."""
    return _(KIND_WORDS[what])


def effect_words(effect: Effect) -> str:
    """When it takes effect."""
    return _(EFFECT_WORDS[effect])


def never_words(what: RequestKind) -> str:
    """Why this is not asked of a ship."""
    return _(
        "{what}: {effect}. The office does not ask for it.",
        what=request_kind_words(what)[:1].upper() + request_kind_words(what)[1:],
        effect=effect_words(EFFECTS[what]),
    )


def lapse_words(lapse: Lapse, said: Mapping[str, Any]) -> str:
    """Why a request lapsed. said: until (in ship time), pumps (names) or number (of the non-conformity), by the lapse."""
    return _LAPSES[lapse](said)


def not_of_office_words(paths: Iterable[str]) -> str:
    """What of a changed document the office does not ask for. paths: of the members."""
    named = [*paths]
    some = ", ".join(named[:5]) + (_(" and {more} more", more=len(named) - 5) if len(named) > 5 else "")
    return _(
        "The office asks for intervals, windows, tolerances, the minimum, job kinds and the crew. The rest of the document is "
        "changed aboard: {some}.",
        some=some,
    )


def stage_words(
    stage: RequestStage,
    *,
    asked_at: datetime,
    now: datetime,
    record: int = 0,
    says: str = "",
    by: str = "",
    ran_out: bool = False,
) -> str:
    """How far a request is: "sent", "fetched", "done, record 17", "refused: ...", "not fetched since 3 days".

    Args:
        asked_at, now: aware. says: the ship's own words of a refusal. by: who declined or withdrew it. ran_out: its time is over.
    """
    if stage is RequestStage.SENT:
        return _sent(asked_at, now, ran_out)
    if stage is RequestStage.DONE:
        return _("done, record {record}", record=record) if record else _("done")
    said = says.rstrip(". ")
    return {
        RequestStage.FETCHED: lambda: _("fetched"),
        RequestStage.WAITING: lambda: _("fetched, waits for the chief engineer"),
        RequestStage.REFUSED: lambda: _("refused: {said}", said=said),
        RequestStage.LAPSED: lambda: _("lapsed: {said}", said=said),
        RequestStage.DECLINED: lambda: _("declined by {by}: {said}", by=by, said=said),
        RequestStage.WITHDRAWN: lambda: _("withdrawn by {by}", by=by),
        RequestStage.ASKER_WITHDRAWN: lambda: _("not handed over: who asked is withdrawn"),
        RequestStage.NUMBER_TAKEN: lambda: _("not done: aboard this number is another request's. Ask again"),
    }[stage]()


def _sent(asked_at: datetime, now: datetime, ran_out: bool) -> str:
    days = (now - asked_at).days
    since = ngettext("not fetched since {days} day", "not fetched since {days} days", days, days=days)
    said = _("sent, not fetched yet") if days < 1 else since
    return _("{said}; its time is over", said=said) if ran_out else said


def asked_words(what: str, arguments: Mapping[str, Any], job_words: Callable[[str], str]) -> str:
    """What exactly is asked: "Postponement 3: yes".

    Args:
        what: a value of `RequestKind`; another one is said as it is. job_words: what people call the job of a key.
    """
    if what not in _ASKED:
        return what
    return _ASKED[RequestKind(what)](arguments, job_words)


_ASKED: Mapping[str, Callable[[Mapping[str, Any], Callable[[str], str]], str]] = {
    RequestKind.DECIDE_POSTPONEMENT: lambda said, _job: (
        _("Postponement {number}: yes", number=said.get("postponement"))
        if said.get("granted")
        else _("Postponement {number}: no", number=said.get("postponement"))
    ),
    RequestKind.CLOSE_NON_CONFORMITY: lambda said, _job: _(
        "Non-conformity {number}: closed", number=said.get("non_conformity")
    ),
    RequestKind.CONFIRM_HOURS: lambda _said, _job: _("Hours taken away: confirmed"),
    RequestKind.SET_PART_DATE: lambda said, job: (
        _("Parts of {job} from {day}", job=inner(job(str(said.get("job")))), day=day_text(day))
        if (day := read_date(str(said.get("from_on"))))
        else _("Parts of {job}: no date any more", job=inner(job(str(said.get("job")))))
    ),
    RequestKind.APPROVE_VERSION: lambda said, _job: _(
        "Version {number} of the document: approved", number=said.get("version")
    ),
    RequestKind.CHANGE_DOCUMENT: lambda said, _job: _("Document changed: {reason}", reason=said.get("reason")),
}
