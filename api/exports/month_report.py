"""The month's report: one page for the chief engineer to sign and the office to read. Values ready to be set, for paper and page."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from api.exports.first_page import Papers, breakdowns
from api.exports.frame import ExportFrame, export_summary
from api.exports.paper import seen, stamp_data
from api.exports.pump_pages import job_row
from api.typesetting import PaperSize, typeset
from scheduler.actions.record.due_next import NextDue
from scheduler.actions.record.month import MonthFacts
from scheduler.domain.base.enums import JobState
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.record.period import month_hours
from scheduler.language import gettext as _
from scheduler.language import ngettext
from scheduler.shiptime import NBSP
from scheduler.version import VERSION
from scheduler.wording import papers
from scheduler.wording.figures import M3H, MONTHS, capital, clock, inner, listed, margin_number, number
from scheduler.wording.names import pump_words

MOST_ROWS = 14
"""Jobs in a table; what is more is counted, so that it stays one page."""
UNUSUAL = 0.2
"""A share off the usual hours that is said in a sentence. Judgement, no source."""
_LATE = (JobState.PAST_DUE, JobState.PAST_LIMIT)
_HOUR = 3600


def month_pdf(found: MonthFacts, made_by: str, *, size: PaperSize = "a4") -> bytes:
    """The report on paper. Raises Refused, Busy: as `typeset`."""
    with typeset("month", seen(month_data(found, made_by)), size=size) as path:
        return path.read_bytes()


def month_data(found: MonthFacts, made_by: str) -> dict[str, Any]:
    """All that the layout and the page show."""
    frame = ExportFrame(
        vessel=found.chosen.vessel_name,
        made_by=made_by,
        as_of=found.now_at,
        version=VERSION,
        from_at=found.begin_at,
        to_at=found.end_at,
    )
    summary = export_summary(found.chosen)
    given = Papers(frame=frame, found=summary, facts=found.facts, extras=found.extras, period=found.period)
    year, month = found.month.split("-")
    name = f"{_(MONTHS[int(month) - 1])} {year}"
    following = _(MONTHS[int(month) % 12])
    opens = {code for code, kind in given.kinds.items() if kind.takes_pump_out}
    done = [job_row(given, one, {}) for one in found.facts.closed if one.kind_code in opens]
    others = [one for one in found.facts.closed if one.kind_code not in opens]
    hours, sentences = _hours(given, found)
    signed = found.signed
    signed_at = None if signed is None else datetime.fromisoformat(str(signed["at"]))
    return {
        "title": f"{frame.vessel}: month's report, {name}",
        "vessel": frame.vessel,
        "name": name,
        "month": found.month,
        "following": following,
        "answer": _answer(given, found, len(done)),
        "least": _least(given),
        "jobs": done[:MOST_ROWS],
        "jobs_more": _more(len(done)),
        "rest": _rest(given, others, found),
        "next": [_next(given, one, over=found.next_over) for one in found.next_due[:MOST_ROWS]],
        "next_more": _more(len(found.next_due)),
        "next_over": found.next_over,
        "postponed": list(_postponed(given, found)),
        "hours": hours,
        "hours_said": sentences,
        "open": list(_open(given, found)),
        "signed": "" if signed is None else str(signed["by"]),
        "signed_at": "" if signed is None or signed_at is None else _signed(given, signed_at, str(signed["record"])),
        "remarks": "" if signed is None else str(signed["text"]),
        "over": found.over,
        "made": f"Made {given.ship_day(frame.as_of)} {clock(frame.as_of, given.period.offset)} by {made_by}, Leadline {VERSION}",
        "stamp": stamp_data(
            summary.head,
            summary.last_number,
            "The records made in the month end here; leadline verify FILE on the JSON Lines of the month must end at this stamp. "
            "What was recorded later stands in the next report.",
            frame.vessel,
        ),
    }


def _signed(given: Papers, at: datetime, record: str) -> str:
    return _(
        "{day} {time}, by own sign-in; record {number}",
        day=given.ship_day(at),
        time=clock(at, given.period.offset),
        number=number(int(record)),
    )


def _answer(given: Papers, found: MonthFacts, done: int) -> str:
    counts = {part: sum(one.verdict.value == part for one in found.facts.closed) for part in papers.PARTS}
    closed = sum(counts.values())
    jobs = ngettext("{count}\u00a0job done", "{count}\u00a0jobs done", closed, count=number(closed))
    if done < closed:
        jobs = (
            _("{jobs}, {opened} of them on an opened pump", jobs=jobs, opened=done)
            if done
            else _("{jobs}, no pump opened", jobs=jobs)
        )
    parts = [f"{number(counts[part])}{NBSP}{_(part)}" for part in papers.PARTS if counts[part]]
    said = [f"{jobs}: {', '.join(parts)}." if closed else _("No job was done.")]
    missed = [f"{one.position} {inner(one.kind)}" for one in given.missed]
    if missed:
        first = ", ".join(missed[:4])
        shown = listed(missed) if len(missed) <= 4 else _("{jobs} and {more} more", jobs=first, more=len(missed) - 4)
        said.append(_("Fell due and not done: {jobs}.", jobs=shown))
    said.append(_("Nothing was postponed.") if not list(_postponed(given, found)) else "")
    return " ".join(one for one in said if one)


def _least(given: Papers) -> str:
    least = min(
        (one for one in given.facts.closed if one.figure("least_margin_swept_m3_per_h") is not None),
        key=lambda one: one.figure("least_margin_swept_m3_per_h") or 0.0,
        default=None,
    )
    if least is None:
        return _("No pump stood open for a closed job.")
    return papers.margin_words(
        least.figure("least_margin_swept_m3_per_h"), least.text("position"), given.ship_day(least.at)
    )


def _rest(given: Papers, others: Sequence[Any], found: MonthFacts) -> str:
    """Tests, the plant's own jobs, breakdowns and counters of the month, each in a sentence."""
    said = []
    kinds: dict[str, list[str]] = {}
    for one in others:
        where = f"{one.text('position')} " if one.text("position") not in given.plant_names else ""
        late = "" if one.verdict is Verdict.IN_WINDOW else f" ({_(one.verdict.value)})"
        kinds.setdefault(one.text("job_kind"), []).append(f"{where}{given.ship_day(one.at).rpartition(NBSP)[0]}{late}")
    said += [f"{kind}: {', '.join(dates)}." for kind, dates in sorted(kinds.items())]
    for one in found.facts.tests:
        swept = one.figure("swept_m3_per_h")
        figure = "" if swept is None else f", {number(swept, 1)}{NBSP}{M3H}"
        pump, day = _pump(given, one.text("pump")), given.ship_day(one.at)
        said.append(_("{pump} pull-down {day}: {result}.", pump=pump, day=day, result=f"{_(one.text('test'))}{figure}"))
    for begin, end, one in breakdowns(found.facts):
        day = given.ship_day(begin)
        if end is not None:
            hours = number((end - begin).total_seconds() / _HOUR, 1)
            day = _("{day}, for {hours}\u00a0h", day=day, hours=hours)
        pump, reason = _pump(given, one.text("pump")), one.text("reason").rstrip(". ")
        said.append(_("{pump} broke down {day}: {reason}.", pump=pump, day=day, reason=reason))
    for one in found.facts.counters:
        event, day = _(one.text("event")), given.ship_day(one.at)
        said.append(_("Counter {event} {day}: {reason}.", event=event, day=day, reason=one.text("reason").rstrip(". ")))
    nothing = [
        what
        for what, there in (
            (_("no pull-down test"), found.facts.tests),
            (_("no breakdown"), breakdowns(found.facts)),
            (_("no counter event"), found.facts.counters),
        )
        if not there
    ]
    if nothing:
        none = listed(nothing)
        said.append(f"{capital(none)}.")
    return " ".join(said)


def _pump(given: Papers, ident: str) -> str:
    for one in given.period.plants:
        if any(pump.pump.id == ident for pump in one.pumps):
            return pump_words(one.plant, given.frame.as_of, ident)
    return _("Pump")


def _next(given: Papers, one: NextDue, *, over: bool) -> dict[str, Any]:
    due = _("due {day}", day=given.ship_day(one.due_at))
    if one.state is JobState.NOT_KNOWN:
        due = _("last time not known")
    elif one.limit_at is not None:
        due = _("{due}, limit {limit}", due=due, limit=given.ship_day(one.limit_at))
    planned = _("not done") if over else _("not planned")
    if one.slot_from_at is not None and not over:
        planned = f"{given.ship_day(one.slot_from_at)} {clock(one.slot_from_at, given.period.offset)}"
    elif one.state is None:
        done = "" if one.done_at is None else f", {given.ship_day(one.done_at)}"
        planned = f"{_(one.verdict)}{done}"
    return {
        "pump": one.position,
        "job": one.kind,
        "due": due,
        "planned": planned,
        "margin": "–" if one.margin is None else margin_number(one.margin),
        "note": _(one.state.value) if one.state in _LATE or one.state is JobState.NOT_KNOWN else "",
        "late": one.state in _LATE,
    }


def _postponed(given: Papers, found: MonthFacts) -> Iterator[str]:
    for one in given.extras.postponements:
        asked = datetime.fromisoformat(str(one["asked_at"]))
        decided = datetime.fromisoformat(str(one["decided_at"])) if one["decided_at"] else None
        if not any(at is not None and found.begin_at <= at < found.end_at for at in (asked, decided)):
            continue
        name = given.job_name(str(one["job"]), asked)
        to_at = given.ship_day(datetime.fromisoformat(str(one["to_at"])))
        how = _("not decided yet")
        if decided is not None:
            who, day = one["decided_by"], given.ship_day(decided)
            granted = one["state"] == "granted"
            how = (
                _("granted by {who} {day}", who=who, day=day)
                if granted
                else _("refused by {who} {day}", who=who, day=day)
            )
        job, why = capital(name), str(one["reason"]).rstrip(". ")
        yield _(
            "{job} to {day}: {why}. Asked by {who}, {how}.", job=job, day=to_at, why=why, who=one["asked_by"], how=how
        )


def _hours(given: Papers, found: MonthFacts) -> tuple[list[dict[str, Any]], list[str]]:
    """(rows of the pumps and of each plant, a sentence for each pump that ran unusually)."""
    rows, said = [], []
    for one in given.period.plants:
        ran_all = usual_all = 0.0
        measured_all = 0.0
        for pump in one.pumps:
            months = month_hours([day for day in pump.days if day.seconds is not None])
            ran = months.pop(found.month, 0.0)
            usual = sum(months.values()) / len(months) if months else None
            test = found.tests.get(pump.pump.id)
            swept = None if test is None else test.figure("swept_m3_per_h")
            name = pump_words(one.plant, given.frame.as_of, pump.pump.id)
            off = None if not usual else (ran - usual) / usual
            unusual = off is not None and abs(off) > UNUSUAL and found.over
            if unusual and off is not None:
                share = number(abs(100 * off))
                said.append(
                    _("{pump} ran {share}\u00a0% over its usual.", pump=name, share=share)
                    if off > 0
                    else _("{pump} ran {share}\u00a0% under its usual.", pump=name, share=share)
                )
            rated = pump.pump.rated_swept_m3_per_h
            rows.append(
                {
                    "name": name,
                    "counter": "–" if pump.hours_at_end is None else number(pump.hours_at_end),
                    "ran": ran,
                    "ran_words": number(ran),
                    "usual": usual or 0.0,
                    "usual_words": "–" if usual is None else number(usual),
                    "off": "–" if usual is None else f"{'+' if ran > usual else ''}{number(round(ran - usual))}",
                    "unusual": unusual,
                    "swept": "–" if swept is None else number(swept, 1),
                    "tested": _("not tested yet")
                    if test is None or swept is None
                    else f"{number(100 * swept / rated)}{NBSP}%, {given.ship_day(test.at)}",
                    "whole": False,
                }
            )
            ran_all += ran
            usual_all += usual or 0.0
            measured_all += swept or 0.0
        rows.append(
            {
                "name": _("Plant"),
                "counter": "",
                "ran": 0.0,
                "ran_words": number(ran_all),
                "usual": 0.0,
                "usual_words": number(usual_all) if usual_all else "–",
                "off": "",
                "unusual": False,
                "swept": number(measured_all) if measured_all else "–",
                "tested": _("sum of those measured") if measured_all else "",
                "whole": True,
            }
        )
    return rows, said


def _open(given: Papers, found: MonthFacts) -> Iterator[str]:
    """What is open, of a month that is over what was open at its end; a sentence each."""
    until = found.end_at if found.over else found.now_at
    for one in given.extras.non_conformities:
        opened = datetime.fromisoformat(str(one["opened_at"]))
        closed = datetime.fromisoformat(str(one["closed_at"])) if one["closed_at"] else None
        if opened < until and (closed is None or closed >= until):
            name = given.job_name(str(one["job"]), opened)
            state = _(str(one["state"])) if closed is None else _("closed {day}", day=given.ship_day(closed))
            yield _(
                "Non-conformity {number} since {day}, {state}: {job}, {about}.",
                number=one["non_conformity"],
                day=given.ship_day(opened),
                state=state,
                job=inner(name),
                about=_(str(one["about"])),
            )
    carried: Mapping[str, Any] = found.carried
    for one in carried["pumps_out"]:
        pump, day = one["position"], given.ship_day(datetime.fromisoformat(one["since"]))
        if one["expected"]:
            back = given.ship_day(datetime.fromisoformat(one["expected"]))
            yield _("{pump} is out since {day}, expected {back}.", pump=pump, day=day, back=back)
        else:
            yield _("{pump} is out since {day}.", pump=pump, day=day)
    for one in carried["pumps_not_proved"]:
        day = given.ship_day(datetime.fromisoformat(one["since"]))
        yield _("{pump} is back and not proved since {day}.", pump=one["position"], day=day)
    for one in carried["lower_minima"]:
        least, last = number(one["minimum_swept_m3_per_h"]), given.ship_day(datetime.fromisoformat(one["to_at"]))
        yield _("Minimum lowered to {least} until {day}.", least=f"{least}{NBSP}{M3H}", day=last)
    for one in carried["postponements_asked"]:
        job = inner(given.job_name(one["job"], found.now_at))
        yield _("Postponement {number} is not decided: {job}.", number=one["postponement"], job=job)
    if carried["permits_open"]:
        yield _("Permits open: {permits}.", permits=listed([one["permit"] for one in carried["permits_open"]]))
    if carried["tags_hanging"]:
        yield _("Tags hang: {pumps}.", pumps=listed(sorted({one["position"] for one in carried["tags_hanging"]})))
    if carried["readings_held"]:
        count = len(carried["readings_held"])
        yield ngettext(
            "{count}\u00a0question about counters to look at.",
            "{count}\u00a0questions about counters to look at.",
            count,
            count=number(count),
        )
    for one in carried["parts_short"]:
        yield _(
            "Short of {part}: {aboard} aboard, {need} needed.", part=one["part"], aboard=one["aboard"], need=one["need"]
        )


def _more(count: int) -> str:
    return _("and {count} more, on the history's pages", count=count - MOST_ROWS) if count > MOST_ROWS else ""
