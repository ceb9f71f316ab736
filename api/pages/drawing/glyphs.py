"""The signs of the states, and the hatchings that drawings share."""

from functools import cache

from markupsafe import Markup

from api.pages.shared.svg import join, tag
from scheduler.domain.base.enums import JobState


@cache
def patterns() -> Markup:
    """The hatchings, once a page: bed, below minimum, past limit (diagonals) and past due (dots)."""
    ground = [tag("path", d="M0 0h9v9H0z", class_="s-bed"), tag("path", d="M0 0v9", class_="h-bed")]
    bed = tag("pattern", join(ground), id="p-bed", width=9, height=9, **_tilted(45))
    boot = tag("pattern", tag("path", d="M0 0v6", class_="h-boot"), id="p-boot", width=6, height=6, **_tilted(-45))
    dot = tag("circle", cx=1.4, cy=1.4, r=1, class_="f-brass")
    brass = tag("pattern", dot, id="p-brass", width=5, height=5, patternUnits="userSpaceOnUse")
    return tag("svg", tag("defs", join([bed, boot, brass])), class_="defs", width=0, height=0, aria_hidden="true")


def _tilted(degrees: int) -> dict[str, str]:
    return {"patternUnits": "userSpaceOnUse", "patternTransform": f"rotate({degrees})"}


_BRACKET = "M14 4h3.2v9h-3.2"
_TUBE = "M3 1.5v17h7v-17"
_DUE = "M1 8.5h12"


@cache
def glyph(state: JobState) -> Markup:
    """The sign of a state: the level of a tube below, inside or above its bracket. Always stands beside its words."""
    level = {
        JobState.AHEAD: 15.5,
        JobState.WINDOW_OPEN: 11.0,
        JobState.PAST_DUE: 5.0,
        JobState.PAST_LIMIT: 1.0,
        JobState.POSTPONED: 5.0,
    }
    parts: list[Markup] = []
    if state in level:
        y = level[state]
        parts.append(tag("path", d=f"M3 {y}h7V18.5H3z", class_="g-fill"))
    line, over = _TUBE, list[Markup]()
    match state:
        case JobState.POSTPONED:
            line += "M15.5 17V5M12.7 8l2.8-3.6L18.3 8"
        case JobState.NOT_KNOWN:
            line += "M13 6.5a2.6 2.6 0 1 1 3.6 2.4c-.8.4-1 .9-1 2.1M15.6 14v1.6"
        case JobState.DONE:
            over.append(tag("path", d="M1 10l5 5L17 3", class_="g-strong"))
        case JobState.WITHDRAWN:
            over.append(tag("path", d="M1 17L17 3", class_="g-strong"))
        case _:
            line += _BRACKET
            if state in (JobState.PAST_DUE, JobState.PAST_LIMIT):
                over.append(tag("path", d=_DUE, class_="g-cut"))
            else:
                line += _DUE
    parts += [tag("path", d=line, class_="g-line"), *over]  # one path: a list has a sign in each row
    if state is JobState.PAST_LIMIT:
        parts.append(tag("path", d="M0 0h13v3.4H0z", class_="g-solid"))
    name = state.value.replace(" ", "-")
    return tag("svg", join(parts), viewBox="0 0 20 20", width=20, class_=f"glyph g-{name}", aria_hidden="true")
