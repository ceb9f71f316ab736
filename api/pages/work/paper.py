"""A job done already, from its sheet on paper: one form in the order of work, and what it says once it was looked at."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from api.pages.shared.forms import FormState
from api.pages.shared.frame import Frame
from api.pages.work.reading import current_from, measures_from
from api.routes.shared.fields import Fields
from scheduler.actions.work.closing_checks import Close
from scheduler.domain.base.enums import Test
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.work.acts import AnyStep, Note, Noted
from scheduler.domain.work.closing import ASKED
from scheduler.domain.work.paper import PaperAct, seen_on_paper
from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.shiptime import instant_of
from scheduler.wording.figures import listed
from scheduler.wording.hours import HoursField
from scheduler.wording.work import act_name

_DATE = marked("a date is expected, as 2026-11-25.")
_TIME = marked("the time at which the job was finished is expected, as 14:00.")


@dataclass(frozen=True, slots=True)
class PaperField:
    """A field of an act. name: what is written there; a time of day where it is "at"."""

    name: str
    label: str
    mode: str = ""


_AT = PaperField("at", marked("At"))
_GAS = (
    PaperField("oxygen", "O2, %", "decimal"),
    PaperField("lel", marked("LEL, %"), "decimal"),
    PaperField("h2s", marked("H2S, ppm"), "decimal"),
)
_FIELDS: Mapping[str, tuple[PaperField, ...]] = {
    "permit issued": (PaperField("number", marked("Number")), _AT),
    "made ready": (PaperField("told", marked("Who was told")), _AT),
    "gas in the room": _GAS,
    "rinsed": (PaperField("drained", marked("Drained to")), _AT),
    "tag placed": (PaperField("tags", marked("Tags")), PaperField("at", marked("Last at"))),
    "start tried": (_AT,),
    "no voltage": (PaperField("meter", marked("Meter")), _AT),
    "vacuum let out": (_AT,),
    "gas at the cover": _GAS,
    "personal lock on": (PaperField("names", marked("Names")),),
    "opened": (_AT,),
    "people clear": (_AT,),
    "people told": (PaperField("names", marked("Names")),),
    "started locally": (PaperField("current", "L1 L2 L3, A"), _AT),
    "returned": (_AT,),
    "tested": (
        PaperField("seconds", marked("Pull-down, s"), "decimal"),
        PaperField("limit", marked("Its limit, s"), "decimal"),
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperRow:
    """A row of the form: an act, its fields, and whether the sheet was looked at and does not show it."""

    act: str
    words: str
    fields: tuple[PaperField, ...]
    unseen: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperView(FormState):
    """The form. looked: it was looked at once, and may be taken in. unseen: what the sheet does not show, in words."""

    frame: Frame
    name: str
    key: str = ""
    """Of the job."""
    job_href: str
    rows: tuple[PaperRow, ...] = ()
    measures: Sequence[object] = ()
    findings: tuple[str, ...] = ()
    looked: bool = False
    unseen: tuple[str, ...] = ()
    against: tuple[str, ...] = ()
    idempotency_key: str = ""
    version: int = 0
    today: str = ""
    steps: int = 0
    """How many steps of the sheet are ticked on it, where they are."""
    hours: HoursField | None = None
    aboard: tuple[str, ...] = ()
    """Names to pick from; another may be written."""

    @property
    def heading(self) -> str:
        """The answer: what the sheet lacks, or that it is to be written down."""
        if not self.looked:
            return _("{name}, from paper: write what the sheet says.", name=self.name)
        if not self.unseen:
            return _("{name}, from paper: the sheet shows every act.", name=self.name)
        return _("{name}, from paper: {unseen_words}.", name=self.name, unseen_words=self._unseen_words)

    @property
    def button(self) -> str:
        """What taking it in says."""
        return _("Take it in: {unseen_words}", unseen_words=self._unseen_words) if self.unseen else _("Take it in")

    @property
    def _unseen_words(self) -> str:
        count = len(self.unseen)
        return ngettext("one act is not seen on paper", "{count} acts are not seen on paper", count).format(count=count)


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperRead:
    """A sheet as read: its acts, the notes that become entries, and the close."""

    acts: tuple[PaperAct, ...] = ()
    notes: tuple[AnyStep, ...] = ()
    close: Close
    unseen: tuple[str, ...] = ()
    """Acts of ASKED that it does not show."""


def _labelled(act: str) -> tuple[PaperField, ...]:
    return tuple(replace(one, label=_(one.label)) for one in _FIELDS[act])


def paper_rows(plant: Plant, kind: JobKind, unseen: Sequence[str] = ()) -> tuple[PaperRow, ...]:
    """The acts that are asked of this kind, in the order of work."""
    asked = [one for one in ASKED if kind.takes_pump_out and (one != "permit issued" or plant.permit_needed)]
    return tuple(PaperRow(act=one, words=act_name(one), fields=_labelled(one), unseen=one in unseen) for one in asked)


def read_paper(fields: Fields, plant: Plant, kind: JobKind, offset_minutes: int) -> PaperRead:
    """What was written down of the sheet.

    Raises:
        Refused: with a fault for each field that cannot be read; the day, the time it was finished and who did it are needed.
    """
    day = fields.day("done_on", empty=_(_DATE))
    finished = fields.time("finished", empty=_(_TIME))
    by = fields.text("done_by")
    if not by:
        fields.fault("done_by", _("who did it is expected, as on the sheet."))
    if day is None or finished is None:
        fields.check(_("Some fields cannot be read, or are empty."))
    assert day is not None
    assert finished is not None
    done_at = instant_of(datetime.combine(day, finished), offset_minutes)
    acts = tuple(_acts(fields, plant, kind, day, done_at, offset_minutes))
    notes = measures_from(fields, kind, done_at, by)
    if kind.takes_pump_out and not any(fields.text(f"measure:{one.name}") for one in kind.measures if one.nameplate):
        notes += current_from(fields.figures("started locally:current"), kind, done_at, by)
    if fields.text("seen"):
        notes.append(Noted(at=done_at, by=by, about=Note.FINDING, name=fields.text("seen"), text=fields.text("words")))
    test = _test(fields, acts, kind)
    running = fields.figure("running_hours")
    fields.check(_("Some fields cannot be read."))
    begun = [one.at for one in acts if one.at is not None and one.act in ("tag placed", "opened")]
    number = next((one.particulars.get("number", "") for one in acts if one.act == "permit issued"), "")
    close = Close(
        done_at=done_at,
        done_by=by,
        test=test,
        checked_by=fields.text("checked_by") or None,
        from_paper=True,
        opened_at=min(begun, default=None),
        running_hours=running,
        findings="" if fields.text("seen") else fields.text("words"),
        permit_no=number or None,
        reason=fields.text("reason"),
    )
    shown = seen_on_paper(acts)
    unseen = tuple(one.act for one in paper_rows(plant, kind) if one.act not in shown)
    return PaperRead(acts=acts, notes=tuple(notes), close=close, unseen=unseen)


def _acts(
    fields: Fields, plant: Plant, kind: JobKind, day: date, done_at: datetime, offset_minutes: int
) -> Iterator[PaperAct]:
    for row in paper_rows(plant, kind):
        texts = {one.name: fields.text(f"{row.act}:{one.name}", 200) for one in row.fields}
        if not any(texts.values()):
            continue
        at = None
        if texts.get("at"):
            time = fields.time(f"{row.act}:at")
            at = None if time is None else instant_of(datetime.combine(day, time), offset_minutes)
            if at is not None and at > done_at:  # begun before midnight
                at -= timedelta(days=1)
        gas = None
        if row.fields == _GAS:
            o2, lel, h2s = (fields.figure(f"{row.act}:{one.name}") for one in _GAS)
            gas = (o2, lel, h2s)
        written = {name: text for name, text in texts.items() if text and name != "at"}
        yield PaperAct(act=row.act, at=at, particulars=written, gas=gas)
    if fields.text("ticked"):
        yield PaperAct(act="step", particulars={"ticked": "all"})


def _test(fields: Fields, acts: Sequence[PaperAct], kind: JobKind) -> Test:
    """Passed where the sheet shows a pull-down within its limit, or the job takes no pump out; none where it shows no test."""
    if not kind.takes_pump_out:
        return Test.PASSED
    if not any(one.act == "tested" for one in acts):
        return Test.NONE
    seconds, limit = fields.figure("tested:seconds"), fields.figure("tested:limit")
    within = seconds is not None and (limit is None or seconds <= limit)
    return Test.PASSED if within else Test.NONE


def looked_at(view: PaperView, read: PaperRead, plant: Plant, kind: JobKind, against: Sequence[str]) -> PaperView:
    """The form once it was looked at: what is not seen stands at its act and over the page."""
    return replace(
        view,
        rows=paper_rows(plant, kind, read.unseen),
        looked=True,
        unseen=tuple(act_name(one) for one in read.unseen),
        against=tuple(against),
    )


def unseen_words(view: PaperView) -> str:
    """What the record will say of it."""
    return (
        _("Not seen on paper: {names}.", names=listed(view.unseen)) if view.unseen else _("Every act is seen on paper.")
    )
