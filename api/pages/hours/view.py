"""What the pages of running hours are given: frozen values in words, already worked out."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from api.pages.shared.frame import Frame


@dataclass(frozen=True, slots=True, kw_only=True)
class AskField:
    """One field of an answer. name: as posted; kind: text or datetime-local; unit: small print after the label."""

    name: str
    label: str
    value: str
    hint: str = ""
    kind: str = "text"
    attrs: Mapping[str, str] = field(default_factory=dict)
    fault: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskForm:
    """One answer that can be given in one step. id: unique on the page; hidden: what is posted besides the fields.

    says: what stood in the way as a whole; open: shown at once.
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
class CountersView:
    """The counters page. changed: what an answer just changed, one sentence each; says: why one was not taken."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class HandLine:
    """A counter's field of the page of hours by hand. before: what it showed last and when; verdict: how what was typed was
    judged, in words; bad: it was not taken."""

    counter: str
    label: str
    before: str
    value: str = ""
    verdict: str = ""
    bad: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HandView:
    """Hours by hand: one instant for all, a field a counter."""

    frame: Frame
    answer: str
    action: str
    idempotency_key: str
    keep: str
    at: str
    at_fault: str
    lines: tuple[HandLine, ...]
    counters_href: str
    refused: bool = False
    stored: bool = False
    says: str = ""
