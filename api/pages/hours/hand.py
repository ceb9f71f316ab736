"""Hours by hand: read what was typed, look at it, store what fits; the page's view."""

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from api.pages.hours.asking import instant_words
from api.pages.hours.build import VERDICTS
from api.pages.hours.view import HandLine, HandView
from api.pages.shared.forms import FormState
from api.pages.shared.frame import frame_of
from api.server.deps import Asking
from scheduler.actions.base.context import instant
from scheduler.actions.hours.by_hand import HandCounter, Read, ValueJudged
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.hours.ledger import LedgerVerdict
from scheduler.domain.hours.preview import ReadingFit, ReadingPreview
from scheduler.language import gettext as _
from scheduler.parsing import Unreadable, figure
from scheduler.wording.faults import unreadable_words
from scheduler.wording.figures import count_words, field_moment, inner, number
from scheduler.wording.hours import counts_words, unit_short
from scheduler.wording.previews import preview_pick, preview_words, previews_words

FIELD, PICK, SEEN = "counter:", "so:", "seen:"
"""Before the counter's id in the names of the fields: what was typed, that it is stored all the same, how it was looked at."""
LEAST_RATE_S = 6 * 3600
"""Over less time than this hours a day say nothing (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandLook:
    """What was typed and what is known of it, by counter id. unread: why a figure could not be read."""

    texts: Mapping[str, str] = field(default_factory=dict)
    picked: frozenset[str] = frozenset()
    unread: Mapping[str, str] = field(default_factory=dict)
    previews: Mapping[str, ReadingPreview] = field(default_factory=dict)
    judged: Mapping[str, ValueJudged] = field(default_factory=dict)
    changed: bool = False

    def seen(self, counter: str) -> str:
        """How a line is looked at now, as the form sends it back."""
        preview = self.previews.get(counter)
        return "" if preview is None else f"{preview.fit}|{self.texts.get(counter, '')}"

    def storable(self, counter: str) -> bool:
        """Whether it is stored when asked: it fits, or a person says so and it can be."""
        preview = self.previews.get(counter)
        return preview is not None and (preview.taken or (preview.may_be_stored and counter in self.picked))

    @property
    def open(self) -> bool:
        """Whether something was typed that is not stored."""
        return any(text and counter not in self.judged for counter, text in self.texts.items())


def entered_values(values: Mapping[str, str], at: datetime) -> tuple[HandLook, list[Read]]:
    """What was typed into the form, nothing looked at yet, and the figures that could be read."""
    texts = {name.removeprefix(FIELD): text for name, text in values.items() if name.startswith(FIELD)}
    unread, reads = {}, []
    for counter, text in texts.items():
        try:
            value = figure(text)
        except Unreadable as error:
            unread[counter] = unreadable_words(error)
            continue
        if value is not None:
            reads.append(Read(counter, at, value))
    picked = frozenset(name.removeprefix(PICK) for name in values if name.startswith(PICK))
    return HandLook(texts=texts, picked=picked, unread=unread), reads


def as_seen(look: HandLook, values: Mapping[str, str]) -> bool:
    """Whether all stands as it was looked at: what was typed, the time, and how each value fits.

    A value that is known by now was sent twice.
    """
    if values.get("at") != values.get("seen_at"):
        return False
    for counter, preview in look.previews.items():
        seen = values.get(f"{SEEN}{counter}", "")
        if seen != look.seen(counter) and not (
            preview.fit is ReadingFit.KNOWN and seen.partition("|")[2] == look.texts[counter]
        ):
            return False
    return not look.unread.keys() - {c for c in look.texts if values.get(f"{SEEN}{c}") == f"|{look.texts[c]}"}


def hand_view(
    now: PlantState, who: Asking, counters: Sequence[HandCounter], state: FormState, look: HandLook
) -> HandView:
    """The page, at first sight or with what was typed, how each value fits, and what became of it.

    Args:
        state: the instant as it was typed (`at`, ship time; empty: now).
    """
    here = f"/vessels/{now.vessel.id}/hours"
    done = bool(look.judged) and not look.open
    seen = bool(look.previews or look.unread) and not done
    at = state.values.get("at", "")
    wrong = bool(state.faults or state.says)
    return HandView(
        frame=frame_of(now, who, here, _("Hours by hand"), "counters"),
        answer=_("Nothing is stored yet.") if wrong and not look.judged else _answer(look, counters),
        sub=_sub(who, seen=seen),
        action=here,
        idempotency_key=secrets.token_hex(16),
        keep=f"hours-{now.vessel.id}",
        at=at if at and not done else field_moment(now.at, now.offset_minutes),
        at_fault=state.faults.get("at", ""),
        lines=tuple(_line(one, now, look) for one in counters),
        counters_href=f"/vessels/{now.vessel.id}/counters",
        step="stored" if done else "seen" if seen else "enter",
        seen_at=at,
        store=_store(look),
        changed=look.changed,
        says=state.says,
    )


def _answer(look: HandLook, counters: Sequence[HandCounter]) -> str:
    open_previews = [preview for counter, preview in look.previews.items() if counter not in look.judged]
    if look.judged:
        return f"{_stored(look)}{f' {previews_words(open_previews, len(look.unread))}' if look.open else ''}"
    if look.previews or look.unread:
        return _(
            "{previews_words} Nothing is stored yet.", previews_words=previews_words(open_previews, len(look.unread))
        )
    unread = sum(one.newest is None for one in counters)
    if unread == len(counters):
        return _("No running hours have been read yet.")
    return _("Hours by hand: ") + (
        _("{unread} of {total} never read.", unread=unread, total=len(counters))
        if unread
        else _("what the counters show.")
    )


def _stored(look: HandLook) -> str:
    taken = [one for one in look.judged.values() if one.taken]
    held = sum(one.entry is not None and one.entry.verdict == LedgerVerdict.HELD for one in taken)
    said = count_words(len(taken), "reading is stored", "readings are stored")
    return _("{said}, of which {held} held: Hours asks what happened.", said=said, held=held) if held else f"{said}."


def _sub(who: Asking, *, seen: bool) -> str:
    if seen:
        return _(
            "Correct freely; look again as often as you like. A reading that is stored is never "
            "overwritten, only followed by a better one."
        )
    return _(
        "Type what each counter shows, in its own unit; leave empty what was not read. Read by {name}.",
        name=who.actor.name,
    )


def _store(look: HandLook) -> str:
    """The words of the button that stores; empty where nothing could be."""
    left = [counter for counter in look.previews if counter not in look.judged]
    fit = sum(look.previews[counter].taken for counter in left)
    picks = any(preview_pick(look.previews[counter].fit) for counter in left)
    if not fit:
        return _("Store what is ticked") if picks else ""
    many = _("the {counted}", counted=inner(count_words(fit, "that fits", "that fit")))
    if fit == len(left) and not look.unread:
        return (
            _("Store this reading")
            if fit == 1
            else _("Store these {counted}", counted=inner(count_words(fit, "reading", "readings")))
        )
    return _("Store {many}, and what is ticked", many=many) if picks else _("Store {many}, leave the rest", many=many)


def _line(one: HandCounter, now: PlantState, look: HandLook) -> HandLine:
    preview, judged = look.previews.get(one.id), look.judged.get(one.id)
    before = one.newest if preview is None or preview.before is None else _before(preview.before)
    if judged is not None:
        before, preview = one.newest, None
    pick = "" if preview is None else preview_pick(preview.fit)
    usual = preview.usual_s_per_day if preview is not None and preview.before else one.usual_s_per_day
    return HandLine(
        counter=one.id,
        label=one.position,
        unit=unit_short(one.seconds_per_count),
        showed="–" if before is None else counts_words(before[1]),
        when=_("never read") if before is None else instant_words(before[0], now.at, now.offset_minutes),
        usual="–" if usual <= 0 else number(usual / 3600, 1),
        value="" if judged is not None else look.texts.get(one.id, ""),
        since=_since(preview),
        per_day=_per_day(preview),
        says=_says(one, look),
        tone=_tone(one, look),
        pick=pick,
        picked=bool(pick) and one.id in look.picked,
        seen=f"|{look.texts[one.id]}" if one.id in look.unread else look.seen(one.id),
    )


def _before(before: tuple[int, int]) -> tuple[datetime, int]:
    return instant(before[0]), before[1]


def _since(preview: ReadingPreview | None) -> str:
    return "–" if preview is None or preview.credit_s is None else number(preview.credit_s / 3600, 1)


def _per_day(preview: ReadingPreview | None) -> str:
    if preview is None or preview.credit_s is None or preview.elapsed_s < LEAST_RATE_S:
        return "–"
    return number(preview.credit_s * 24 / preview.elapsed_s, 1)


def _says(one: HandCounter, look: HandLook) -> str:
    if one.id in look.judged:
        return judged_words(look.judged[one.id])
    if one.id in look.unread:
        return look.unread[one.id]
    preview = look.previews.get(one.id)
    if preview is not None:
        return preview_words(preview, one.seconds_per_count)
    if one.newest is None:
        return _("The first reading is the start; hours before it need an opening balance.")
    return ""


def _tone(one: HandCounter, look: HandLook) -> str:
    preview, judged = look.previews.get(one.id), look.judged.get(one.id)
    if judged is not None:
        return "good" if judged.taken else "bad"
    if one.id in look.unread:
        return "bad"
    if preview is None:
        return "plain"
    return "good" if preview.taken else "odd" if preview.fit is ReadingFit.UNUSUAL else "bad"


def _unusual_words(one: ValueJudged) -> str:
    odd = one.unusual
    if odd is None:
        return ""
    more = _(
        ", {number} h more than the usual {number_2} h in that time.",
        number=number((odd.credit_s - odd.usual_s) / 3600),
        number_2=number(odd.usual_s / 3600),
    )
    meant = "" if odd.meant_milli is None else _(" Was it {counts_words}?", counts_words=counts_words(odd.meant_milli))
    return _(
        "{more}{meant} If it was misread, read it again now: when that does not fit, you are asked which was wrong.",
        more=more,
        meant=meant,
    )


def judged_words(one: ValueJudged) -> str:
    """What became of one value, in a sentence: also the command's words."""
    if one.status == "refused":
        return f"Refused: {one.why}"
    if one.status == "conflict":
        stands = _("another value") if one.stands is None else counts_words(one.stands)
        return _(
            "Conflict: {stands} is stored for this instant and stays; yours is in the intake log. If yours "
            "is right, mark the other as a bad reading and read again.",
            stands=stands,
        )
    known = _("Known already, the same value") if one.status == "duplicate" else _("Stored")
    entry = one.entry
    if entry is None:
        return _("{known}; judged with the next reading.", known=known)
    if entry.verdict == LedgerVerdict.CREDITED:
        counted = _(
            "{known}; {number} h counted since the reading before", known=known, number=number(entry.credit_s / 3600, 1)
        )
        return f"{counted}{_unusual_words(one)}" if one.unusual else f"{counted}."
    reason = f" ({entry.reason})" if entry.reason else ""
    asks = _(" It waits for an answer on the counters page.") if entry.verdict == LedgerVerdict.HELD else ""
    return f"{known}; {VERDICTS.get(entry.verdict, entry.verdict)}{reason}.{asks}"
