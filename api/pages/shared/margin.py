"""Margin over the minimum in stretches of constant capacity, for the pages; and what is said of it."""

import math
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from scheduler.actions.plant_state.load import PlantState
from scheduler.language import gettext as _
from scheduler.planning.problem.values import MinimumStretch, Problem, Slot
from scheduler.wording.figures import listed, margin_number, moment, number

_LITRES = 1000
_NOTHING = MinimumStretch(from_step=0, to_step=0, litres_per_h=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class MarginStretch:
    """A stretch of constant capacity: available, minimum and largest pump in swept m3/h.

    largest_m3_per_h: what the largest pump in use gives, so that one trip can be judged; none when not worked out.
    open_positions: pumps planned open in it; down_positions: pumps down or not proved, facts and not plans.
    """

    from_at: datetime
    to_at: datetime
    available_m3_per_h: float
    minimum_m3_per_h: float
    minimum_label: str = "minimum"
    largest_m3_per_h: float | None = None
    open_positions: tuple[str, ...] = ()
    down_positions: tuple[str, ...] = ()

    @property
    def figures(self) -> tuple[object, ...]:
        """All of it but its times: two that are alike in it may be drawn as one."""
        return (
            self.available_m3_per_h,
            self.minimum_m3_per_h,
            self.minimum_label,
            self.largest_m3_per_h,
            self.open_positions,
            self.down_positions,
        )

    @property
    def margin_m3_per_h(self) -> float:
        """Available minus minimum."""
        return self.available_m3_per_h - self.minimum_m3_per_h


def margin_stretches(
    problem: Problem, slots: Sequence[Slot], positions: Mapping[str, str], until_at: datetime | None = None
) -> tuple[MarginStretch, ...]:
    """Stretches of constant capacity over the whole grid, without gap. Of overlapping minima the highest counts.

    Args:
        until_at: only those that begin before it, each as long as it is; none: all.
        slots: of the plan; a pump counts for nothing from the first to the last step of its slot.
        positions: position of each pump id; a pump that is missing here is named by its own id.
    """
    cuts = {0, problem.steps}
    cuts.update(s for m in problem.minimum for s in (m.from_step, m.to_step))
    cuts.update(s for p in problem.pumps for d in p.derated for s in (d.from_step, d.to_step))
    cuts.update(s for slot in slots if slot.pump is not None for s in (slot.start, slot.end))
    edges = sorted(c for c in cuts if 0 <= c <= problem.steps)
    if until_at is not None:  # one edge at or after it ends the last stretch
        edges = edges[: bisect_left(edges, (until_at - problem.starts_at) / timedelta(hours=1)) + 1]

    def stretches(first: int, last: int) -> range:
        return range(bisect_left(edges, max(first, 0)), min(bisect_left(edges, last), len(edges) - 1))

    highest: list[MinimumStretch] = [_NOTHING] * len(edges)
    for one in problem.minimum:
        for place in stretches(one.from_step, one.to_step):
            if highest[place] is _NOTHING or one.litres_per_h > highest[place].litres_per_h:
                highest[place] = one
    taken_out: list[set[str]] = [set() for _ in edges]
    for slot in slots:
        for place in () if slot.pump is None else stretches(slot.start, slot.end):
            taken_out[place].add(slot.pump or "")
    gives = {pump.pump: [pump.litres_per_h] * len(edges) for pump in problem.pumps}
    for pump in problem.pumps:
        for one_derated in sorted(pump.derated, key=lambda one: -one.litres_per_h):  # the lowest counts
            for place in stretches(one_derated.from_step, one_derated.to_step):
                gives[pump.pump][place] = one_derated.litres_per_h
    margins: list[MarginStretch] = []
    for place, (start, end) in enumerate(pairwise(edges)):
        out, least = taken_out[place], highest[place]
        counted = [0 if pump.pump in out else gives[pump.pump][place] for pump in problem.pumps]
        margins.append(
            MarginStretch(
                from_at=problem.starts_at + timedelta(hours=start),
                to_at=problem.starts_at + timedelta(hours=end),
                available_m3_per_h=sum(counted) / _LITRES,
                minimum_m3_per_h=least.litres_per_h / _LITRES,
                minimum_label=least.label,
                largest_m3_per_h=max(counted, default=0) / _LITRES,
                open_positions=tuple(positions.get(p.pump, p.pump) for p in problem.pumps if p.pump in out),
                down_positions=tuple(
                    positions.get(p.pump, p.pump)
                    for p, litres_per_h in zip(problem.pumps, counted, strict=True)
                    if p.pump not in out and litres_per_h < p.litres_per_h
                ),
            )
        )
    return tuple(margins)


def positions_of(now: PlantState) -> Mapping[str, str]:
    """Position name of each pump that stands in one."""
    places = {pump.id: now.plant.position_of(pump.id, now.at) for pump in now.plant.pumps}
    return {pump: now.position_name(position) for pump, position in places.items() if position is not None}


def least(margins: Sequence[MarginStretch]) -> MarginStretch | None:
    """The first stretch with the least margin; none without stretches."""
    return min(margins, key=lambda r: (r.margin_m3_per_h, r.from_at), default=None)


def below_words(margins: Sequence[MarginStretch]) -> tuple[tuple[MarginStretch, ...], ...]:
    """Stretches of touching stretches below the minimum, in time order."""
    stretches: list[list[MarginStretch]] = []
    for run in sorted(margins, key=lambda r: r.from_at):
        if run.margin_m3_per_h >= 0:
            continue
        if stretches and stretches[-1][-1].to_at == run.from_at:
            stretches[-1].append(run)
        else:
            stretches.append([run])
    return tuple(tuple(s) for s in stretches)


def one_trip_below_at(margins: Sequence[MarginStretch]) -> datetime | None:
    """First instant at which losing the largest pump in use would go below the minimum; none when never or unknown."""
    found = (r.from_at for r in margins if r.largest_m3_per_h is not None and r.margin_m3_per_h < r.largest_m3_per_h)
    return min(found, default=None)


def least_said(margins: Sequence[MarginStretch], offset_minutes: int) -> tuple[str, str]:
    """As `least_words`, of any stretches."""
    run = least(margins)
    if run is None:
        return "", ""
    why = [_("{names} open", names=listed(run.open_positions))] if run.open_positions else []
    why += [_("{names} down", names=listed(run.down_positions))] if run.down_positions else []
    why += [run.minimum_label] if run.minimum_label != "minimum" else []
    return margin_number(run.margin_m3_per_h), ", ".join([moment(run.from_at, offset_minutes), *why])


def minimum_words(margins: Sequence[MarginStretch]) -> str:
    """The minima in force, the one that holds longest first: "72 usual, 94 full ship"."""
    lengths: dict[tuple[float, str], timedelta] = {}
    for run in margins:
        key = (run.minimum_m3_per_h, run.minimum_label)
        lengths[key] = lengths.get(key, timedelta()) + (run.to_at - run.from_at)
    order = sorted(lengths, key=lambda key: (-lengths[key], key))
    if len(order) == 1 and order[0][1] == "minimum":
        return number(math.ceil(order[0][0] - 1e-9))
    named = [(m, _("usual") if label == "minimum" else label) for m, label in order]
    return ", ".join(f"{number(math.ceil(m - 1e-9))} {label}" for m, label in named)
