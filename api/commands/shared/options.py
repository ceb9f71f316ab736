"""Options and arguments that several commands take; instants, days and figures are parsed by `scheduler.parsing`."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Annotated, Any

import typer


def parse_instant(text: str) -> datetime:
    """Ship time (not aware), or an instant with its offset. Raises BadParameter."""
    from scheduler.parsing import read_instant

    found = read_instant(text)
    if found is None:
        raise typer.BadParameter(
            f"{text!r}: ship time such as 2026-11-25T14:00 is expected, or an instant with its offset such as 2026-11-25T14:00:00Z"
        )
    return found


def parse_day(text: str) -> date:
    """A ship's date. Raises BadParameter."""
    from scheduler.parsing import read_date

    found = read_date(text)
    if found is None:
        raise typer.BadParameter(f"{text!r}: a date is expected, such as 2026-11-25")
    return found


def day_or_none(text: str) -> str:
    """The text of a ship's date, or the word none; an argument parsed to nothing would count as not given. Raises BadParameter."""
    if text != "none":
        parse_day(text)
    return text


def parse_figure(least: float | None = None) -> Callable[[Any], float]:
    """What parses a figure, no less than `least`; it raises BadParameter."""

    def parse(text: Any) -> float:
        from scheduler.parsing import Unreadable, figure
        from scheduler.wording.faults import unreadable_words

        try:
            value = figure(str(text))
        except Unreadable as error:
            raise typer.BadParameter(unreadable_words(error)) from None
        if value is None or (least is not None and value < least):
            least_says = "" if least is None else f", {least:g} or more"
            raise typer.BadParameter(f"{text!r}: a figure is expected{least_says}, such as 13905.2")
        return value

    return parse


def one_of(*words: str) -> Callable[[str], str]:
    """What takes one of the words; it raises BadParameter."""

    def parse(text: str) -> str:
        if text not in words:
            raise typer.BadParameter(f"{text!r}: {', '.join(words[:-1])} or {words[-1]} is expected")
        return text

    return parse


INSTANT: dict[str, Any] = {"parser": parse_instant}
DAY: dict[str, Any] = {"parser": parse_day}
FIGURE: dict[str, Any] = {"parser": parse_figure()}
FIGURE_FROM_0: dict[str, Any] = {"parser": parse_figure(0)}

VesselId = Annotated[str, typer.Argument(help="vessel id")]
PlantId = Annotated[str, typer.Argument(help="plant id")]
CounterId = Annotated[str, typer.Argument(help="counter id")]
JobKey = Annotated[str, typer.Argument(help="job key, as `leadline due` shows it")]
At = Annotated[datetime | None, typer.Option(help="when, ship time or with offset (default: now)", **INSTANT)]
Why = Annotated[str, typer.Option(help="why, in a few words")]
ChangeReason = Annotated[str, typer.Option(help="why an interval, window, tolerance or the minimum changes")]
ClassAgreed = Annotated[
    str, typer.Option(help="the class's agreement, where a class item changes: who, when, reference")
]
