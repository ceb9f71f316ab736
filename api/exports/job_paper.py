"""A closed job on paper, as it would lie in a file: verdict as judged, acts in order, locks, gas, measures, photos, stamp."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from api.exports.paper import seen, stamp_data, thumbnails
from api.exports.pump_pages import SIGNS
from api.typesetting import PaperSize, typeset
from scheduler.actions.plant_state.work import StoredStep, state_of
from scheduler.actions.record.job_file import JobFile
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.record.period import NOT_CHECKED
from scheduler.domain.work.acts import GasChecked, Note, Noted, TagPlaced, TagRemoved, Tested
from scheduler.domain.work.state import struck_numbers
from scheduler.shiptime import NBSP, minutes_at
from scheduler.wording import papers
from scheduler.wording.figures import M3H, capital, clock, margin_number, number, offset_words
from scheduler.wording.steps import step_words

_PHOTO = (720, 504)
_HOUR = 3600


def job_pdf(found: JobFile, made: str, *, size: PaperSize = "a4") -> bytes:
    """The paper. Raises Refused, Busy: as `typeset`."""
    pictures = {f"{name}.jpg": content for name, content in thumbnails(found.pictures.items(), _PHOTO)}
    with typeset("job", seen(job_data(found, made)), size=size, pictures=pictures) as path:
        return path.read_bytes()


def job_data(found: JobFile, made: str) -> dict[str, Any]:
    """All that the layout shows."""
    one, offset = found.closed, _offset(found)
    name = " ".join(filter(None, (one.text("position"), one.text("job_kind"))))
    struck = struck_numbers([step.step for step in found.steps])
    steps = sorted(found.steps, key=lambda step: (step.step.at, step.number))
    good = [step for step in steps if step.number not in struck]
    off = papers.from_due_words(
        one.hours_from_due, None if one.figure("days_from_due") is None else int(one.figure("days_from_due") or 0)
    )
    verdict = "Breakdown repair" if one.verdict is Verdict.BREAKDOWN else capital(one.verdict.value)
    test = one.text("test")
    closed_words = f"Closed {papers.day_at(one.at, offset)} {clock(one.at, offset)}"
    closed_words += f", test {test}. " if test and test != "none" else ". "
    records = [step.record for step in found.steps] + [photo.number for photo in found.photos] + [one.number]
    return {
        "title": f"{found.vessel_name}, {name}, {papers.day_at(one.at, offset)}",
        "vessel": found.vessel_name,
        "name": name,
        "on": papers.day_at(one.at, offset),
        "closed": closed_words,
        "sign": SIGNS[one.verdict],
        "verdict": f"{verdict}{f', {off} from due' if off else ''}.",
        "facts": list(_facts(found, records)),
        "found": papers.found_words(one.text("findings")),
        "note": f"All times are ship time, {offset_words(minutes_at(offset, one.at))}. By {one.text('done_by')} where no name stands.",
        "acts": [_act(found, step, struck, offset) for step in steps if not _elsewhere(step)],
        "tags": list(_tags(found, offset)),
        "gas": [_gas(step, offset) for step in good if isinstance(step.step, GasChecked)],
        "measures": [
            _measure(step, offset) for step in good if isinstance(step.step, Noted) and step.step.about is Note.MEASURE
        ],
        "tests": [_test(step, offset) for step in good if isinstance(step.step, Tested)],
        "parts": one.text("parts_used"),
        "flags": [str(flag) for flag in one.members.get("flags") or ()],
        "photos": [
            {
                "file": f"{photo.text('sha256')}.jpg",
                "alt": photo.text("text") or f"Photo of {name}",
                "words": ", ".join(
                    filter(
                        None,
                        (
                            photo.text("text"),
                            f"{papers.day_at(photo.at, offset)} {clock(photo.at, offset)}",
                            photo.text("by"),
                        ),
                    )
                ),
            }
            for photo in found.photos
            if photo.text("sha256") in found.pictures
        ],
        "photos_lost": len(found.photos) - len(found.pictures),
        "made": made,
        "stamp": stamp_data(
            one.stamp,
            one.number,
            f"This job is records {number(min(records))} to {number(max(records))} of {found.vessel_name}, among others. leadline "
            "verify FILE on the JSON Lines that hold them must show this stamp. The ship's own permit papers lie in her permit file.",
            found.vessel_name,
        ),
    }


def _facts(found: JobFile, records: list[int]) -> Iterator[tuple[str, str]]:
    one, offset = found.closed, _offset(found)
    if one.text("pump_serial"):
        yield "Pump", f"{one.text('position')}, serial {one.text('pump_serial')}"
    running, due = one.figure("running_seconds"), one.figure("due_running_seconds")
    if running is not None:
        at = f", due at {number(due // _HOUR)}" if due is not None else ""
        yield "Running hours", f"{number(running // _HOUR)}{NBSP}h at close{at}; {one.text('hours_source')}"
    for what, member in (
        ("Due on", "due_at"),
        ("Limit", "limit_at"),
        ("Put off to", "postponed_to_at"),
        ("Taken out", "opened_at"),
    ):
        instant = one.instant(member)
        if instant is not None:
            yield what, papers.day_at(instant, offset) + (f" {clock(instant, offset)}" if what == "Taken out" else "")
    yield "Done by", one.text("done_by") + (f", {one.text('company')}" if one.text("company") else "")
    yield "Checked by", f"{found.checked_by}, by own sign-in" if found.checked_by else one.sheet_check or NOT_CHECKED
    if one.text("permit_no"):
        yield "Permit", one.text("permit_no")
    margin, lowest = one.figure("least_margin_swept_m3_per_h"), one.figure("lowest_vacuum_kpa")
    if margin is not None:
        yield "Least margin", f"{margin_number(margin)}{NBSP}{M3H} while open, reckoned"
    if lowest is not None:
        yield "Lowest vacuum", f"{number(lowest)}{NBSP}kPa below air"
    yield "On record", f"{number(min(records))} to {number(max(records))}"


def _elsewhere(step: StoredStep) -> bool:
    """It stands in a table of its own."""
    told = step.step
    return isinstance(told, TagPlaced | TagRemoved | GasChecked | Tested) or (
        isinstance(told, Noted) and told.about is Note.MEASURE
    )


def _act(found: JobFile, step: StoredStep, struck: frozenset[int] | set[int], offset: int) -> dict[str, Any]:
    by = "" if step.step.by == found.closed.text("done_by") else step.step.by
    return {
        "at": _moment(found, step.step.at, offset),
        "words": step_words(step.step),
        "by": by,
        "struck": step.number in struck,
        "flags": " ".join(step.flags(found.offset)),
    }


def _moment(found: JobFile, at: datetime, offset: int) -> str:
    """The time, with the day where it is not the day of the close."""
    day = papers.day_at(at, offset)
    return (
        clock(at, offset)
        if day == papers.day_at(found.closed.at, offset)
        else f"{day.rpartition(NBSP)[0]} {clock(at, offset)}"
    )


def _tags(found: JobFile, offset: int) -> Iterator[dict[str, str]]:
    for tag in state_of(found.steps).tags:
        yield {
            "point": tag.point,
            "lock": tag.lock_no or "–",
            "tag": tag.tag_no or "–",
            "on": f"{_moment(found, tag.placed_at, offset)} {tag.placed_by}",
            "off": "hangs" if tag.removed_at is None else f"{_moment(found, tag.removed_at, offset)} {tag.removed_by}",
        }


def _gas(step: StoredStep, offset: int) -> dict[str, Any]:
    told = step.step
    assert isinstance(told, GasChecked)
    figures = (told.oxygen_percent, told.lel_percent, told.h2s_ppm)
    return {
        "at": clock(told.at, offset),
        "place": ", ".join(
            filter(
                None,
                (told.place.value, told.meter and f"meter {told.meter}", "bump tested" if told.bump_tested else ""),
            )
        ),
        "figures": ["–" if one is None else f"{one:g}" for one in figures],
        "flags": " ".join(step.flags(offset)),
    }


def _measure(step: StoredStep, offset: int) -> dict[str, Any]:
    told = step.step
    assert isinstance(told, Noted)
    limits = [f"{word} {value:g}" for word, value in (("least", told.low), ("at most", told.high)) if value is not None]
    return {
        "at": clock(told.at, offset),
        "name": told.name,
        "value": "–" if told.value is None else f"{told.value:g} {told.unit}".strip(),
        "limits": ", ".join(limits) or "–",
        "bad": told.out_of_limit,
    }


def _test(step: StoredStep, offset: int) -> dict[str, Any]:
    told = step.step
    assert isinstance(told, Tested)
    return {"at": clock(told.at, offset), "words": step_words(told), "bad": not told.passes}


def _offset(found: JobFile) -> int:
    minutes = found.closed.figure("utc_offset_minutes")
    return found.offset if minutes is None else int(minutes)
