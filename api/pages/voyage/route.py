"""The page of the operating calendar: plain forms, each the same action as the API's; what was typed is kept."""

import secrets
from collections.abc import Mapping
from datetime import timedelta
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from api.ics.writer import calendar_writer
from api.pages import words
from api.pages.shared import build
from api.pages.shared.view import Frame
from api.pages.voyage.page import DaysTyped, VoyageView, voyage_page
from api.server.deps import Asking, AskingDep, ContextDep, must_be_own_form
from api.server.errors import STATUS
from api.server.page_answers import light_of, page
from scheduler.actions.base.context import Answer, Context, Hand
from scheduler.actions.feed import refresh
from scheduler.actions.voyage import days
from scheduler.domain.voyage.from_csv import write_sheet
from scheduler.domain.voyage.stretches import KindOfDay, Source, Spell
from scheduler.errors import Clash, Refused, Stale
from scheduler.parsing import read_date

router = APIRouter(include_in_schema=False)
_MOST_FILE_BYTES = 1_000_000
_ENTRY = ("from_on", "to_on", "kind", "source", "note")


@router.get("/vessels/{vessel_id}/calendar")
def calendar(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """The days, and the forms for those who may change them."""
    asked = request.query_params
    edit = read_date(asked.get("edit", ""))
    found = days.get_voyage_days(context, who.actor, vessel_id)
    spell = None if edit is None else found.book.on(edit)
    shown: dict[str, Any] = {
        "show_all": "all" in asked,
        "correcting": spell,
        "done": _DONE.get(asked.get("done", ""), ""),
    }
    return _shown(request, context, who, vessel_id, shown, 200)


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
    form = await request.form()
    must_be_own_form(who, form.get("csrf"))
    do = {"clear": _clear, "kinds": _weigh, "undo": _undo}.get(_text(form, "do"), _enter)
    return await run_in_threadpool(do, request, context, who, vessel_id, form)


@router.post("/vessels/{vessel_id}/calendar/file")
async def take_file(vessel_id: str, request: Request, context: ContextDep, who: AskingDep) -> Response:
    """Look at a CSV file, or take it in. Its text stays in the form until it is taken in."""
    async with request.form(max_part_size=_MOST_FILE_BYTES) as form:
        must_be_own_form(who, form.get("csrf"))
        text, said = await _file_text(form)
        return await run_in_threadpool(_file, request, context, who, vessel_id, form, text, said)


_DONE = {
    "entered": "The days are entered.",
    "cleared": "The days are cleared.",
    "kinds": "The weights are kept.",
    "undone": "The last change is taken back.",
    "file": "The file is taken in.",
    "same": "Nothing had to be changed.",
}


def _enter(request: Request, context: Context, who: Asking, vessel_id: str, form: FormData) -> Response:
    typed = {name: _text(form, name) for name in _ENTRY}
    was = _was(context, who, vessel_id, form)
    try:
        wish = days.Wish(
            stretches=(_spell(typed),),
            cleared=() if was is None else ((was.from_on, was.to_on),),
            what="days corrected" if was else "days entered",
        )
        return _back(context, vessel_id, _change(context, who, vessel_id, form, wish), "entered")
    except (Refused, Stale) as error:
        entry = DaysTyped(values=typed, faults=_fields(error), says=_says(error))
        return _shown(request, context, who, vessel_id, {"entry": entry, "correcting": was}, STATUS[type(error)][0])


def _clear(request: Request, context: Context, who: Asking, vessel_id: str, form: FormData) -> Response:
    typed = {name: _text(form, name) for name in _ENTRY}
    was = _was(context, who, vessel_id, form)
    try:
        if was is None:
            raise Stale("These days are not entered any more; look at the list again.")
        wish = days.Wish(cleared=((was.from_on, was.to_on),), what="days cleared")
        return _back(context, vessel_id, _change(context, who, vessel_id, form, wish), "cleared")
    except (Refused, Stale) as error:
        entry = DaysTyped(values=typed, says=error.says)
        return _shown(request, context, who, vessel_id, {"entry": entry, "correcting": was}, STATUS[type(error)][0])


def _weigh(request: Request, context: Context, who: Asking, vessel_id: str, form: FormData) -> Response:
    book = days.get_voyage_days(context, who.actor, vessel_id).book
    names = [f"w-{n}" for n in range(len(book.kinds))]
    typed = {name: _text(form, name) for name in (*names, "new_code", "new_weight")}
    try:
        pairs = [(kind.code, name) for kind, name in zip(book.kinds, names, strict=True)]
        if typed["new_code"] or typed["new_weight"]:
            pairs.append((typed["new_code"].lower(), "new_weight"))
        kinds = tuple(KindOfDay(code=code, weight=_weight(typed, name)) for code, name in pairs)
        answer = _change(context, who, vessel_id, form, days.Wish(kinds=kinds, what="kinds of day changed"))
        return _back(context, vessel_id, answer, "kinds")
    except (Refused, Stale) as error:
        places = {f"/kinds/{n}/weight": name for n, name in enumerate(names)}
        places |= {f"/kinds/{len(names)}/code": "new_code", f"/kinds/{len(names)}/weight": "new_weight"}
        faults = {places.get(pointer, pointer.lstrip("/")): says for pointer, says in error.faults}
        weights = DaysTyped(values=typed, faults=faults, says="" if faults else error.says)
        return _shown(request, context, who, vessel_id, {"weights": weights}, STATUS[type(error)][0])


def _undo(request: Request, context: Context, who: Asking, vessel_id: str, form: FormData) -> Response:
    try:
        hand = _hand(who, vessel_id, form, {"undo": _text(form, "version")})
        answer = days.undo_days(context, hand, vessel_id, if_match=_version(form))
        return _back(context, vessel_id, answer, "undone")
    except (Stale, Clash) as error:
        return _shown(request, context, who, vessel_id, {"undo_says": error.says}, STATUS[type(error)][0])


def _file(
    request: Request, context: Context, who: Asking, vessel_id: str, form: FormData, text: str, said: str
) -> Response:
    typed = {"csv": text}
    if said:
        return _shown(request, context, who, vessel_id, {"file": DaysTyped(values=typed, says=said)}, 422)
    looked = days.try_days(context, who.actor, vessel_id, text)
    if looked.sheet.faults:
        many = words.count_words(len(looked.sheet.faults), "thing is", "things are")
        says = f"Nothing was taken in: {many.lower()} wrong. Correct the text below, or the file, and look again."
        file = DaysTyped(values=typed, says=says, lines=tuple(fault.sentence() for fault in looked.sheet.faults[:100]))
        return _shown(request, context, who, vessel_id, {"file": file, "looked_at": looked}, 422)
    if _text(form, "do") != "take":
        return _shown(request, context, who, vessel_id, {"file": DaysTyped(values=typed), "looked_at": looked}, 200)
    try:
        what = f"file of {len(looked.sheet.rows)} rows taken in"
        wish = days.Wish(stretches=looked.sheet.spells, what=what)
        return _back(context, vessel_id, _change(context, who, vessel_id, form, wish), "file")
    except (Refused, Stale) as error:
        file = DaysTyped(values=typed, says=error.says)
        return _shown(request, context, who, vessel_id, {"file": file, "looked_at": looked}, STATUS[type(error)][0])


def _shown(
    request: Request, context: Context, who: Asking, vessel_id: str, shown: Mapping[str, Any], status: int
) -> Response:
    found = days.get_voyage_days(context, who.actor, vessel_id)
    here = f"/vessels/{quote(vessel_id)}/calendar"
    view = VoyageView(
        frame=_frame(context, who, vessel_id, here),
        found=found,
        action=here,
        idempotency_key=secrets.token_hex(16),
        may_change=build.may(who, "POST", "/vessels/{vessel_id}/calendar"),
        **{"entry": _blank(found, shown.get("correcting")), **shown},
    )
    return page(voyage_page(view, light=light_of(request), csrf=who.csrf or ""), status)


def _blank(found: days.StoredDays, correcting: Spell | None) -> DaysTyped:
    """The entry form before anything is typed: the stretch to correct, or the days after the last one entered."""
    spell = correcting
    if spell is None:
        after = found.book.spells[-1].to_on + timedelta(days=1) if found.book.spells else found.today
        return DaysTyped(values={"from_on": after.isoformat(), "kind": "sea", "source": "plan"})
    return DaysTyped(
        values={
            "from_on": spell.from_on.isoformat(),
            "to_on": spell.to_on.isoformat(),
            "kind": spell.kind,
            "source": spell.source.value,
            "note": spell.note,
        }
    )


def _frame(context: Context, who: Asking, vessel_id: str, here: str) -> Frame:
    return build.vessel_frame(context, who, vessel_id, here, "Operating calendar", "calendar")


def _change(context: Context, who: Asking, vessel_id: str, form: FormData, wish: days.Wish) -> Answer:
    asked = {name: str(value) for name, value in form.multi_items() if isinstance(value, str)}
    hand = _hand(who, vessel_id, form, {name: value for name, value in asked.items() if name != "csrf"})
    return days.change_days(context, hand, vessel_id, wish, if_match=_version(form))


def _hand(who: Asking, vessel_id: str, form: FormData, asked: Mapping[str, str]) -> Hand:
    key = _text(form, "idempotency_key") or None
    return Hand(who.actor, key, {"route": f"POST /vessels/{vessel_id}/calendar", "body": asked})


def _back(context: Context, vessel_id: str, answer: Answer, done: str) -> Response:
    refresh.renew(context, calendar_writer(context.settings.shown_base_url()), vessel_id)
    word = "same" if answer.body.get("record") is None else done
    return RedirectResponse(f"/vessels/{quote(vessel_id)}/calendar?done={word}", 303)


def _was(context: Context, who: Asking, vessel_id: str, form: FormData) -> Spell | None:
    """The stretch that is being corrected as it stands now; none for new days."""
    from_on, to_on = read_date(_text(form, "was_from")), read_date(_text(form, "was_to"))
    if from_on is None or to_on is None:
        return None
    there = days.get_voyage_days(context, who.actor, vessel_id).book.on(from_on)
    return there if there is not None and (there.from_on, there.to_on) == (from_on, to_on) else None


def _spell(typed: Mapping[str, str]) -> Spell:
    """The stretch as typed.

    Raises:
        Refused: with a fault for each field that cannot be read.
    """
    dates = {name: read_date(typed[name]) for name in ("from_on", "to_on")}
    faults = [
        (f"/stretches/0/{name}", f"{name[:-3]}: {typed[name]!r:.40}; a date as 2026-11-25 was expected.")
        for name, on in dates.items()
        if on is None
    ]
    source = next((one for one in Source if one.value == typed["source"]), None)
    if source is None:
        faults.append(("/stretches/0/source", "say whether the days are from the log or from the plan."))
    if faults or dates["from_on"] is None or dates["to_on"] is None or source is None:
        raise Refused("The days cannot be read.", faults=faults)
    return Spell(from_on=dates["from_on"], to_on=dates["to_on"], kind=typed["kind"], source=source, note=typed["note"])


def _weight(typed: Mapping[str, str], name: str) -> float:
    try:
        return float(typed[name].replace(",", "."))
    except ValueError:
        says = f"{typed[name]!r:.40} is no weight: a figure as 0.3 was expected."
        raise Refused(says, faults=[(f"/{name}", says)]) from None


async def _file_text(form: FormData) -> tuple[str, str]:
    """The text of the file, or what was typed; and what is wrong with the file itself."""
    upload, typed = form.get("upload"), _text(form, "csv")
    if not isinstance(upload, UploadFile) or not upload.filename:
        return typed, "" if typed else "Choose a file, or put its text in the field."
    raw = await upload.read(_MOST_FILE_BYTES + 1)
    if len(raw) > _MOST_FILE_BYTES:
        return typed, f"{upload.filename:.60} is over {_MOST_FILE_BYTES // 1000} kB; send it in parts."
    try:
        return raw.decode("utf-8-sig").strip(), ""
    except UnicodeDecodeError:
        return typed, f"{upload.filename:.60} is not plain text in UTF-8. Save it as CSV (UTF-8) and choose it again."


def _text(form: FormData, name: str) -> str:
    value = form.get(name, "")
    return value.strip() if isinstance(value, str) else ""


def _version(form: FormData) -> int | None:
    text = _text(form, "version")
    return int(text) if text.isdigit() and len(text) < 10 else None


def _fields(error: Refused | Stale) -> dict[str, str]:
    """Faults by the name of the field they are about."""
    return {pointer.rpartition("/")[2]: says for pointer, says in error.faults}


def _says(error: Refused | Stale) -> str:
    return "" if error.faults else error.says
