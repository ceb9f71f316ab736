"""Margin runs for the pages from a stagger problem and the slots of a plan. Pure."""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from itertools import pairwise

from api.pages.shared.view import MarginStretch
from scheduler.planning.problem.values import MinimumStretch, Problem, PumpCapacity, Slot

_LITRES = 1000
_NOTHING = MinimumStretch(from_step=0, to_step=0, litres_per_h=0)


def margin_stretches(
    problem: Problem, slots: Sequence[Slot], positions: Mapping[str, str]
) -> tuple[MarginStretch, ...]:
    """Stretches of constant capacity over the whole grid, without gap. Of overlapping minima the highest counts.

    Args:
        slots: of the plan; a pump counts for nothing from the first to the last step of its slot.
        positions: position of each pump id; a pump that is missing here is named by its own id.
    """
    cuts = {0, problem.steps}
    cuts.update(s for m in problem.minimum for s in (m.from_step, m.to_step))
    cuts.update(s for p in problem.pumps for d in p.derated for s in (d.from_step, d.to_step))
    cuts.update(s for slot in slots if slot.pump is not None for s in (slot.start, slot.end))
    edges = sorted(c for c in cuts if 0 <= c <= problem.steps)
    runs: list[MarginStretch] = []
    for start, end in pairwise(edges):
        inside = [m for m in problem.minimum if m.from_step <= start < m.to_step]
        least = max(inside, key=lambda m: m.litres_per_h, default=_NOTHING)
        out = {slot.pump for slot in slots if slot.start <= start < slot.end}
        gives = {p.pump: 0 if p.pump in out else _gives(p, start) for p in problem.pumps}
        runs.append(
            MarginStretch(
                from_at=problem.starts_at + timedelta(hours=start),
                to_at=problem.starts_at + timedelta(hours=end),
                available_m3_per_h=sum(gives.values()) / _LITRES,
                minimum_m3_per_h=least.litres_per_h / _LITRES,
                minimum_label=least.label,
                largest_m3_per_h=max(gives.values(), default=0) / _LITRES,
                open_positions=tuple(positions.get(p.pump, p.pump) for p in problem.pumps if p.pump in out),
                down_positions=tuple(
                    positions.get(p.pump, p.pump)
                    for p in problem.pumps
                    if p.pump not in out and gives[p.pump] < p.litres_per_h
                ),
            )
        )
    return tuple(runs)


def _gives(pump: PumpCapacity, step: int) -> int:
    return min((d.litres_per_h for d in pump.derated if d.from_step <= step < d.to_step), default=pump.litres_per_h)
