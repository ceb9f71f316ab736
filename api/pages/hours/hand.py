"""Hours by hand: the page's view, and what became of each value in words."""

import secrets
from collections.abc import Mapping, Sequence

from api.pages.hours.asking import instant_words
from api.pages.hours.build import VERDICTS, unit_words
from api.pages.hours.view import HandLine, HandView
from api.pages.shared.forms import FormState
from api.pages.shared.frame import frame_of
from api.server.deps import Asking
from scheduler.actions.hours.by_hand import HandCounter, ValueJudged
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.hours.ledger import LedgerVerdict
from scheduler.wording.figures import count_words, field_moment, number
from scheduler.wording.hours import counts_words

FIELD = "counter:"
"""Before the counter's id in the names of the fields."""


def hand_view(
    now: PlantState,
    who: Asking,
    counters: Sequence[HandCounter],
    state: FormState,
    judged: Mapping[str, ValueJudged],
) -> HandView:
    """The page, at first sight or with what was typed and how each value was judged.

    Args:
        state: the instant as it was typed (`at`, ship time; empty: now) and the values, by `FIELD` and counter id. judged: by
            counter id.
    """
    bad = bool(state.faults or state.says) or any(not one.taken for one in judged.values())
    here = f"/vessels/{now.vessel.id}/hours"
    done = bool(judged) and not bad
    return HandView(
        frame=frame_of(now, who, here, "Hours by hand", "counters"),
        answer=_answer(judged, counters) if not (state.faults or state.says) else "Nothing was stored yet.",
        action=here,
        idempotency_key=secrets.token_hex(16),
        keep=f"hours-{now.vessel.id}",
        at=state.values["at"] if state.values.get("at") and not done else field_moment(now.at, now.offset_minutes),
        at_fault=state.faults.get("at", ""),
        lines=tuple(
            _line(one, now, "" if done else state.values.get(f"{FIELD}{one.id}", ""), judged.get(one.id))
            for one in counters
        ),
        counters_href=f"/vessels/{now.vessel.id}/counters",
        refused=bad,
        stored=done,
        says=state.says,
    )


def _answer(judged: Mapping[str, ValueJudged], counters: Sequence[HandCounter]) -> str:
    if not judged:
        unread = sum(one.newest is None for one in counters)
        if unread == len(counters):
            return "No running hours have been read yet."
        return "Hours by hand: " + (f"{unread} of {len(counters)} never read." if unread else "what the counters show.")
    kept = sum(one.taken for one in judged.values())
    left = len(judged) - kept
    stored = f"{count_words(kept, 'reading is', 'readings are')} stored" if kept else "Nothing is stored"
    if not left:
        held = sum(one.entry is not None and one.entry.verdict == LedgerVerdict.HELD for one in judged.values())
        odd = sum(one.unusual is not None for one in judged.values())
        parts = [f"{held} held: see the counters page"] if held else []
        parts += [f"{odd} far more than usual: look again below"] if odd else []
        return f"{stored}, of which {' and '.join(parts)}." if parts else f"{stored}."
    return f"{stored}; {count_words(left, 'was not taken and still stands', 'were not taken and still stand').lower()} below."


def _line(one: HandCounter, now: PlantState, value: str, judged: ValueJudged | None) -> HandLine:
    before = "Never read: the first reading is the start, hours before it need an opening balance"
    if one.newest is not None:
        before = f"Showed {counts_words(one.newest[1])}, {instant_words(one.newest[0], now.at, now.offset_minutes)}"
    return HandLine(
        counter=one.id,
        label=one.position,
        before=f"{before}; it counts {unit}" if (unit := unit_words(one.seconds_per_count)) else before,
        value=value,
        verdict="" if judged is None else judged_words(judged),
        bad=judged is not None and not judged.taken,
    )


def _unusual_words(one: ValueJudged) -> str:
    odd = one.unusual
    if odd is None:
        return ""
    more = f", {number((odd.credit_s - odd.usual_s) / 3600)} h more than the usual {number(odd.usual_s / 3600)} h in that time."
    meant = "" if odd.meant_milli is None else f" Was it {counts_words(odd.meant_milli)}?"
    return f"{more}{meant} If it was misread, read it again now: when that does not fit, you are asked which was wrong."


def judged_words(one: ValueJudged) -> str:
    """What became of one value, in a sentence: also the command's words."""
    if one.status == "refused":
        return f"Refused: {one.why}"
    if one.status == "conflict":
        stands = "another value" if one.stands is None else counts_words(one.stands)
        return (
            f"Conflict: {stands} is stored for this instant and stays; yours is in the intake log. If yours is right, "
            "mark the other as a bad reading and read again."
        )
    known = "Known already, the same value" if one.status == "duplicate" else "Stored"
    entry = one.entry
    if entry is None:
        return f"{known}; judged with the next reading."
    if entry.verdict == LedgerVerdict.CREDITED:
        counted = f"{known}; {number(entry.credit_s / 3600, 1)} h counted since the reading before"
        return f"{counted}{_unusual_words(one)}" if one.unusual else f"{counted}."
    reason = f" ({entry.reason})" if entry.reason else ""
    asks = " It waits for an answer on the counters page." if entry.verdict == LedgerVerdict.HELD else ""
    return f"{known}; {VERDICTS.get(entry.verdict, entry.verdict)}{reason}.{asks}"
