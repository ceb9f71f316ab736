"""The drawings: well-formed, without style of their own, and true to the figures."""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages import drawing
from api.pages.plant import rows as plant_rows
from api.pages.plant.view import PlantView
from api.pages.shared.margin import margin_stretches
from api.pages.shared.svg import tag, text
from scheduler.domain.base.enums import JobState
from scheduler.planning.problem.values import Derated, Slot
from tests.unit.api import invented

VIEWS = {
    **{f"{n} pumps": invented.plant(n) for n in (1, 3, 6, 8)},
    "busy": invented.plant(4, busy=True),
    "all": invented.all_states(),
    "deficit": invented.deficit(),
    "nothing": invented.nothing(),
    "long names": invented.long_names(),
}


@pytest.mark.parametrize("name", VIEWS)
def test_drawings_are_xml_without_style(name: str) -> None:
    """Each chart and tube is well-formed, has a name in words, and neither style attribute nor script.

    A pump with nothing to measure has no picture at all.
    """
    view: PlantView = VIEWS[name]
    kinds = plant_rows.tube_kinds(view)
    pictures = [*plant_rows.charts(view).values(), *(plant_rows.pump_block(p, view, kinds).picture for p in view.pumps)]
    assert pictures
    for picture in filter(None, pictures):
        root = ElementTree.fromstring(picture)
        assert root.get("aria-label")
        assert all(e.get("style") is None and e.tag != "script" for e in root.iter())


@given(st.text(), st.text())
def test_any_text_is_escaped(body: str, name: str) -> None:
    """Whatever a name holds, it stays text: it opens no element and ends no attribute."""
    made = tag("g", text(0, 0, body), aria_label=name)
    assert made.count("<") == made.count(">") == made.count("<g") + 3 - (0 if body else 1)
    assert made.count('"') == 6


def test_signs_differ_in_shape() -> None:
    """Every state has a sign of its own, its class left out: states tell themselves apart without colour."""
    drawn = {drawing.glyph(s).split(">", 1)[1] for s in JobState}
    assert len(drawn) == len(JobState)


@given(st.floats(-1, 3), st.floats(-1, 3))
def test_a_tube_fills_upwards(one: float, other: float) -> None:
    """More running hours never stand lower in the tube, and the level stays inside the glass."""
    low, high = sorted((one, other))
    assert drawing.TUBE_TOP - 1e-9 <= drawing.tube_y(high) <= drawing.tube_y(low) <= drawing.TUBE_BOTTOM + 1e-9


@pytest.mark.parametrize(
    ("since", "state"), [(1349, "AHEAD"), (1400, "WINDOW_OPEN"), (1512, "PAST_DUE"), (1690, "PAST_LIMIT")]
)
def test_the_level_stands_to_its_bracket_as_the_state_says(since: int, state: str) -> None:
    """Below the bracket ahead, inside it open or past due (the due line between), above it past limit."""
    figure = plant_rows.tube_figure(invented.KNIFE, invented.job(invented.KNIFE, 2, since))
    assert figure.share is not None
    assert figure.share == pytest.approx(since / 1500)
    assert (figure.window_share, figure.limit_share) == pytest.approx((0.9, 1.1))
    edges = (figure.window_share, 1.0, figure.limit_share)
    assert (
        figure.state
        is [JobState.AHEAD, JobState.WINDOW_OPEN, JobState.PAST_DUE, JobState.PAST_LIMIT][
            sum(figure.share >= edge for edge in edges)
        ]
    )
    assert figure.state.name == state


@given(
    st.integers(2, 8).flatmap(
        lambda n: st.tuples(
            st.just(n), st.lists(st.tuples(st.integers(1, n), st.integers(0, 650), st.integers(1, 40)), max_size=6)
        )
    )
)
def test_margin_runs_cover_the_grid(case: tuple[int, list[tuple[int, int, int]]]) -> None:
    """Runs touch from the first to the last hour, and every hour's depth is what the pumps not open give, less the
    minimum, counted hour by hour."""
    pumps, wanted = case
    problem = invented.problem(pumps, busy=True)
    slots = [
        Slot(key=f"s{i}", pump=f"pump-{p}", start=a, end=min(a + n, invented.STEPS), least_margin_litres_per_h=0)
        for i, (p, a, n) in enumerate(wanted)
    ]
    margins = margin_stretches(problem, slots, {})
    assert margins[0].from_at == problem.starts_at
    assert margins[-1].to_at == problem.starts_at + timedelta(hours=problem.steps)
    assert all(a.to_at == b.from_at for a, b in pairwise(margins))
    for run in margins:
        for at in ((run.from_at - problem.starts_at), (run.to_at - problem.starts_at - timedelta(hours=1))):
            step = at // timedelta(hours=1)
            out = {s.pump for s in slots if s.start <= step < s.end}
            gives = sum(p.litres_per_h for p in problem.pumps if p.pump not in out)
            least = max(m.litres_per_h for m in problem.minimum if m.from_step <= step < m.to_step)
            assert run.margin_m3_per_h == pytest.approx((gives - least) / 1000)


@given(hours=st.integers(-3, invented.STEPS + 3), derated=st.lists(st.tuples(st.integers(0, 90), st.integers(0, 40))))
def test_margins_up_to_an_instant_are_those_of_the_whole_that_begin_before_it(
    hours: int, derated: list[tuple[int, int]]
) -> None:
    """Each as long as it is; of a pump that counts for less the lowest of what holds."""
    problem = invented.problem(4, busy=True)
    first, *others = problem.pumps
    less = tuple(
        Derated(from_step=start, to_step=start + long, litres_per_h=1000 * (long % 7)) for start, long in derated
    )
    problem = replace(problem, pumps=(replace(first, derated=less), *others))
    whole = margin_stretches(problem, (), {})
    until_at = problem.starts_at + timedelta(hours=hours)
    assert margin_stretches(problem, (), {}, until_at) == tuple(one for one in whole if one.from_at < until_at)
    for one in whole:
        step = (one.from_at - problem.starts_at) // timedelta(hours=1)
        lowest = min((d.litres_per_h for d in less if d.from_step <= step < d.to_step), default=first.litres_per_h)
        gives = lowest + sum(pump.litres_per_h for pump in others)
        assert one.available_m3_per_h == gives / 1000
