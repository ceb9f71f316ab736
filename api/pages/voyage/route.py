"""The page of the voyage: its weeks, days and clock; plain forms, each the same action as the API's; what was typed is kept."""

import secrets
from datetime import timedelta
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from api.pages.shared.answers import page_answer
from api.pages.shared.forms import FormRefusal, PageForm, form_of
from api.pages.shared.frame import may, vessel_frame
from api.pages.voyage.page import DaysForm, VoyageView, voyage_page
from api.pages.voyage.weeks import weeks_view
from api.routes.shared.fields import Fields
from api.server.deps import Asking, AskingDep, ContextDep
from scheduler.actions.base.context import Answer, Context
from scheduler.actions.plant_state.load import plant_state
from scheduler.actions.vessel import fleet
from scheduler.actions.voyage import days
from scheduler.domain.voyage.from_csv import write_sheet
from scheduler.domain.voyage.stretches import KindOfDay, Source, Spell
from scheduler.errors import Refused, Stale
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.parsing import read_date
from scheduler.wording.figures import count_words, inner

router = APIRouter(include_in_schema=False)
_MOST_FILE_BYTES = 1_000_000


@router.get("/vessels/{vessel_id}/calendar")
def calendar(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The days, and the forms for those who may change them."""
    asked = request.query_params
    edit = read_date(asked.get("edit", ""))
    spell = None if edit is None else days.get_voyage_days(context, who.actor, vessel_id).book.on(edit)
    done = _(done) if (done := _DONE.get(asked.get("done", ""), "")) else ""
    return _page(
        request,
        context,
        who,
        vessel_id,
        show_all="all" in asked,
        entering="enter" in asked or spell is not None,
        correcting=spell,
        done=done,
    )


@router.get("/vessels/{vessel_id}/calendar.csv")
def calendar_file(vessel_id: str, context: ContextDep, who: AskingDep) -> Response:
    """The stretches as a CSV file that can be corrected and taken in again."""
    found = days.get_voyage_days(context, who.actor, vessel_id)
    named = {"Content-Disposition": f'attachment; filename="{vessel_id}-operating-calendar.csv"'}
    text = write_sheet(found.book.spells)
    return PlainTextResponse(text, media_type="text/csv; charset=utf-8; header=present", headers=named)


@router.post("/vessels/{vessel_id}/calendar")
async def change(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Enter, correct or clear days, keep the weights, or take the last change back."""
    form = await form_of(request, who)
    do = {"clear": _clear, "kinds": _weigh, "undo": _undo, "clock": _turn}.get(form["do"], _enter)
    return await do(context, vessel_id, form)


@router.post("/vessels/{vessel_id}/calendar/file")
async def take_file(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Look at a CSV file, or take it in. Its text stays in the form until it is taken in."""
    async with request.form(max_part_size=_MOST_FILE_BYTES) as data:
        form = PageForm.of(request, who, data)
        text, says = await _file_text(form)
        return await _file(context, vessel_id, form, text, says)


_DONE = {
    "entered": marked("The days are entered."),
    "cleared": marked("The days are cleared."),
    "kinds": marked("The weights are kept."),
    "undone": marked("The last change is taken back."),
    "file": marked("The file is taken in."),
    "same": marked("Nothing had to be changed."),
    "clock": marked("The change of the clock is recorded. It is planned again by the new clock."),
}


async def _enter(context: Context, vessel_id: str, form: PageForm) -> Response:
    def act() -> str:
        was = _was(context, vessel_id, form)
        wish = days.Wish(
            stretches=(_spell(Fields(form.values)),),
            cleared=() if was is None else ((was.from_on, was.to_on),),
            what="days corrected" if was else "days entered",
        )
        return _back(vessel_id, _change(context, vessel_id, form, wish), "entered")

    def again(refused: FormRefusal) -> Response:
        return _answer(
            context, form, vessel_id, refused, entry=DaysForm.of(refused), correcting=_was(context, vessel_id, form)
        )

    return await form.act(act, again)


async def _clear(context: Context, vessel_id: str, form: PageForm) -> Response:
    def act() -> str:
        was = _was(context, vessel_id, form)
        if was is None:
            raise Stale(_("These days are not entered any more; look at the list again."))
        wish = days.Wish(cleared=((was.from_on, was.to_on),), what="days cleared")
        return _back(vessel_id, _change(context, vessel_id, form, wish), "cleared")

    def again(refused: FormRefusal) -> Response:
        entry = DaysForm(values=form.values, says=refused.error.says)
        return _answer(context, form, vessel_id, refused, entry=entry, correcting=_was(context, vessel_id, form))

    return await form.act(act, again)


async def _weigh(context: Context, vessel_id: str, form: PageForm) -> Response:
    book = (await run_in_threadpool(days.get_voyage_days, context, form.who.actor, vessel_id)).book
    names = [f"w-{n}" for n in range(len(book.kinds))]

    def act() -> str:
        fields = Fields(form.values)
        pairs = [(kind.code, name) for kind, name in zip(book.kinds, names, strict=True)]
        if form["new_code"] or form["new_weight"]:
            pairs.append((form["new_code"].lower(), "new_weight"))
        weights = [(code, fields.figure(name, empty=_("a figure as 0.3 was expected."))) for code, name in pairs]
        fields.check()
        kinds = tuple(KindOfDay(code=code, weight=weight) for code, weight in weights if weight is not None)
        answer = _change(context, vessel_id, form, days.Wish(kinds=kinds, what="kinds of day changed"))
        return _back(vessel_id, answer, "kinds")

    def again(refused: FormRefusal) -> Response:
        return _answer(context, form, vessel_id, refused, weights=DaysForm.of(refused))

    fields = {f"/kinds/{n}/weight": name for n, name in enumerate(names)}
    fields |= {f"/kinds/{len(names)}/code": "new_code", f"/kinds/{len(names)}/weight": "new_weight"}
    return await form.act(act, again, fields=fields)


async def _undo(context: Context, vessel_id: str, form: PageForm) -> Response:
    def act() -> str:
        answer = days.undo_days(context, form.hand(), vessel_id, if_match=form.version)
        return _back(vessel_id, answer, "undone")

    def again(refused: FormRefusal) -> Response:
        return _answer(context, form, vessel_id, refused, undo_says=refused.error.says)

    return await form.act(act, again)


async def _turn(context: Context, vessel_id: str, form: PageForm) -> Response:
    def act() -> str:
        fields = Fields(form.values, fleet.offset_now(context, vessel_id))
        at = fields.instant("clock_at")
        offset = fields.figure("clock_offset", empty=_("hours ahead of UTC are expected, as 2 or −3.5."))
        fields.check()
        assert at is not None
        assert offset is not None
        if offset * 60 != int(offset * 60):
            says = _("whole minutes ahead of UTC are expected, as 2 or −3.5 hours.")
            raise Refused(f"clock_offset: {says}", faults=[("/clock_offset", says)])
        minutes, reason = int(offset * 60), form["clock_reason"]
        fleet.change_clock(context, form.hand(), vessel_id, from_at=at, minutes=minutes, reason=reason)
        return f"/vessels/{quote(vessel_id)}/calendar?done=clock"

    def again(refused: FormRefusal) -> Response:
        return _answer(context, form, vessel_id, refused, clock=DaysForm.of(refused))

    return await form.act(act, again)


async def _file(context: Context, vessel_id: str, form: PageForm, text: str, says: str) -> Response:
    looked: days.Preview | None = None

    def act() -> str | Response:
        nonlocal looked
        if says:
            raise Refused(says)
        looked = days.try_days(context, form.who.actor, vessel_id, text)
        if looked.sheet.faults:
            many = count_words(len(looked.sheet.faults), "thing is", "things are")
            raise Refused(
                _(
                    "Nothing was taken in: {counted} wrong. Correct the text below, or the file, and look again.",
                    counted=inner(many),
                )
            )
        if form["do"] != "take":
            return _answer(context, form, vessel_id, file=DaysForm(values={"csv": text}), looked_at=looked)
        wish = days.Wish(stretches=looked.sheet.spells, what=f"file of {len(looked.sheet.rows)} rows taken in")
        return _back(vessel_id, _change(context, vessel_id, form, wish), "file")

    def again(refused: FormRefusal) -> Response:
        lines = tuple(fault.sentence() for fault in looked.sheet.faults[:100]) if looked else ()
        file = DaysForm(values={"csv": text}, says=refused.error.says, lines=lines)
        return _answer(context, form, vessel_id, refused, file=file, looked_at=looked)

    return await form.act(act, again)


def _answer(
    context: Context, form: PageForm, vessel_id: str, refused: FormRefusal | None = None, **members: Any
) -> Response:
    return _page(form.request, context, form.who, vessel_id, refused.status if refused else 200, **members)


def _page(
    request: Request, context: Context, who: Asking, vessel_id: str, status: int = 200, **members: Any
) -> Response:
    found = days.get_voyage_days(context, who.actor, vessel_id)
    here = f"/vessels/{quote(vessel_id)}/calendar"
    vessel = fleet.get_vessel(context, who.actor, vessel_id)[0]
    states = [plant_state(context, vessel_id, plant.id) for plant in vessel.plants]
    view = VoyageView(
        frame=vessel_frame(context, who, vessel_id, here, _("Voyage"), "calendar"),
        weeks=tuple(weeks_view(now, found.book, here) for now in states),
        found=found,
        action=here,
        idempotency_key=secrets.token_hex(16),
        may_change=may(who, "POST", "/vessels/{vessel_id}/calendar"),
        **{"entry": _blank(found, members.get("correcting")), **members},
    )
    return page_answer(request, who, voyage_page, view, status)


def _blank(found: days.StoredDays, correcting: Spell | None) -> DaysForm:
    """The entry form before anything is typed: the stretch to correct, or the days after the last one entered."""
    spell = correcting
    if spell is None:
        after = found.book.spells[-1].to_on + timedelta(days=1) if found.book.spells else found.today
        return DaysForm(values={"from_on": after.isoformat(), "kind": "sea", "source": "plan"})
    return DaysForm(
        values={
            "from_on": spell.from_on.isoformat(),
            "to_on": spell.to_on.isoformat(),
            "kind": spell.kind,
            "source": spell.source.value,
            "note": spell.note,
        }
    )


def _change(context: Context, vessel_id: str, form: PageForm, wish: days.Wish) -> Answer:
    return days.change_days(context, form.hand(), vessel_id, wish, if_match=form.version)


def _back(vessel_id: str, answer: Answer, done: str) -> str:
    word = "same" if answer.body.get("record") is None else done
    return f"/vessels/{quote(vessel_id)}/calendar?done={word}"


def _was(context: Context, vessel_id: str, form: PageForm) -> Spell | None:
    """The stretch that is being corrected as it stands now; none for new days."""
    from_on, to_on = read_date(form["was_from"]), read_date(form["was_to"])
    if from_on is None or to_on is None:
        return None
    there = days.get_voyage_days(context, form.who.actor, vessel_id).book.on(from_on)
    return there if there is not None and (there.from_on, there.to_on) == (from_on, to_on) else None


def _spell(fields: Fields) -> Spell:
    """The stretch as typed.

    Raises:
        Refused: with a fault for each field that cannot be read.
    """
    from_on, to_on = (fields.day(name, empty=_("a date as 2026-11-25 was expected.")) for name in ("from_on", "to_on"))
    source = next((one for one in Source if one.value == fields.text("source")), None)
    if source is None:
        fields.fault("source", _("say whether the days are from the log or from the plan."))
    fields.check(_("The days cannot be read."))
    assert from_on is not None
    assert to_on is not None
    assert source is not None
    return Spell(from_on=from_on, to_on=to_on, kind=fields.text("kind"), source=source, note=fields.text("note"))


async def _file_text(form: PageForm) -> tuple[str, str]:
    """The text of the file, or what was typed; and what is wrong with the file itself."""
    upload, typed = form.data.get("upload"), form["csv"]
    if not isinstance(upload, UploadFile) or not upload.filename:
        return typed, "" if typed else _("Choose a file, or put its text in the field.")
    raw = await upload.read(_MOST_FILE_BYTES + 1)
    if len(raw) > _MOST_FILE_BYTES:
        return typed, _("{filename} is over {most_file_bytes} kB; send it in parts.").format(
            filename=f"{upload.filename:.60}", most_file_bytes=_MOST_FILE_BYTES // 1000
        )
    try:
        return raw.decode("utf-8-sig").strip(), ""
    except UnicodeDecodeError:
        return typed, _("{filename} is not plain text in UTF-8. Save it as CSV (UTF-8) and choose it again.").format(
            filename=f"{upload.filename:.60}"
        )
