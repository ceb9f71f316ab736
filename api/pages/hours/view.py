"""What the pages of running hours are given: frozen values in words, already worked out."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from markupsafe import Markup

from api.pages.shared.frame import Frame


@dataclass(frozen=True, slots=True, kw_only=True)
class AskField:
    """One field of an answer. name: as posted; unit: small print after the label."""

    name: str
    label: str
    value: str
    hint: str = ""
    attrs: Mapping[str, str] = field(default_factory=dict)
    fault: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskForm:
    """One answer that can be given in one step. id: unique on the page; hidden: what is posted besides the fields.

    says: what stood in the way as a whole; open: shown at once. asks: it is asked of a ship that writes aboard.
    """

    id: str
    label: str
    help: str
    action: str
    button: str
    hidden: Mapping[str, str]
    fields: tuple[AskField, ...]
    says: str = ""
    open: bool = False
    asks: bool = False

    @property
    def refused(self) -> bool:
        """Whether it came back."""
        return bool(self.says) or any(one.fault for one in self.fields)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuestionView:
    """One question: the words of it, the facts it rests on, and the answers this person may give (empty: none)."""

    id: str
    heading: str
    says: str
    facts: tuple[tuple[str, str, str], ...]
    forms: tuple[AskForm, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EventLine:
    """What a person said of a counter. waits: for another person; forms: what this person may do about it."""

    words: str
    waits: bool
    forms: tuple[AskForm, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CounterView:
    """One counter in words. notes: (when, words) of its flags, newest first; events: what people said of it."""

    id: str
    position: str
    facts: tuple[tuple[str, str, str], ...]
    notes: tuple[tuple[str, str], ...] = ()
    older_notes: int = 0
    questions: tuple[QuestionView, ...] = ()
    events: tuple[EventLine, ...] = ()
    correct: AskForm | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLine:
    """An item of the intake log: when it came, for which counter, refused or conflict, why, and the item itself."""

    came: str
    counter: str
    status: str
    why: str
    item: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DiagnosisLine:
    """One thing to look at: which, since when (empty: not known), what, and what to do."""

    which: str
    since: str
    says: str
    do: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AirBlock:
    """A plant's air of the last days against usual, drawn wide and narrow; lines: what the hours say. href: where it is answered."""

    name: str
    lines: tuple[str, ...]
    wide: Markup
    narrow: Markup
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CountersView:
    """The counters page. changed: what an answer just changed, one sentence each; says: why one was not taken; office: lines."""

    frame: Frame
    answer: str
    sub: str
    plants: tuple[tuple[str, tuple[CounterView, ...]], ...]
    diagnoses: tuple[DiagnosisLine, ...]
    log: tuple[LogLine, ...]
    hours_href: str = ""
    changed: tuple[str, ...] = ()
    says: str = ""
    forget: str = ""
    air: tuple[AirBlock, ...] = ()
    office: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class HandLine:
    """A counter's line of the page of hours by hand.

    unit: what it counts; showed, when: what it showed last. value: what was typed. since, per_day, usual: hours since the
    reading before, a day, and as usual. says: how it fits, or that it was stored; tone: good, odd or bad; pick: what is ticked to
    have it stored all the same (empty: nothing can be); seen: what this line was looked at as, sent back with it.
    """

    counter: str
    label: str
    unit: str
    showed: str
    when: str
    usual: str
    value: str = ""
    since: str = ""
    per_day: str = ""
    says: str = ""
    tone: str = ""
    pick: str = ""
    picked: bool = False
    seen: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandView:
    """Hours by hand: one instant for all, a line a counter. step: enter, seen (looked at, not stored), stored (all of them)."""

    frame: Frame
    answer: str
    sub: str
    action: str
    idempotency_key: str
    keep: str
    at: str
    at_fault: str
    lines: tuple[HandLine, ...]
    counters_href: str
    step: str = "enter"
    seen_at: str = ""
    store: str = ""
    changed: bool = False
    says: str = ""
