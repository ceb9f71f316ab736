"""The plan page: its drawing of windows, its sentences, its states in words, and what it may not contain."""

import re
from dataclasses import replace
from datetime import timedelta
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages.drawing.field import Scales
from api.pages.drawing.ground import lack_number
from api.pages.drawing.windows import WindowLine, WindowMark, lines_of, window_chart
from api.pages.plan import says
from api.pages.plan.moving import start_of
from api.pages.plan.page import move_picture, pictures, plan_page
from api.pages.plan.wording import whys
from scheduler.errors import Refused
from scheduler.planning.explain.reasons import Explained, PlaceReason, ReasonCode
from scheduler.planning.problem.facts import Bar, BarCode, Blocker
from scheduler.planning.problem.values import Problem
from scheduler.wording.figures import ship
from tests.unit.api.invented import NOW
from tests.unit.api.invented_plan import VIEWS, plan
from tests.unit.api.test_pages import Reader
from tests.unit.planning.cases import words_for

END = NOW + timedelta(days=28)
DAY = timedelta(days=1)
MARK = WindowMark(
    label="knife",
    opens_at=NOW + 2 * DAY,
    due_at=NOW + 7 * DAY,
    limit_at=NOW + 12 * DAY,
    from_at=NOW + 7 * DAY,
    to_at=NOW + 8 * DAY,
)


def _drawn(*lines: WindowLine, width: int = 802) -> ElementTree.Element:
    chart = window_chart(
        lines, from_at=NOW, to_at=END, now_at=NOW, utc_offset_minutes=60, width=width, name="the windows"
    )
    return ElementTree.fromstring(chart)


def _of(root: ElementTree.Element, class_: str) -> list[ElementTree.Element]:
    return [one for one in root.iter() if class_ in (one.get("class") or "").split()]


def test_a_block_stands_where_its_slot_is_and_the_bracket_from_opening_to_limit() -> None:
    """A slot in the second week of four begins at a quarter of the width; the bracket ends at twelve days of 28."""
    root = _drawn(WindowLine(name="VP3", marks=(MARK,)))
    wide = 802 - 44 - 1
    (block,) = _of(root, "s-block")
    assert float(block.get("x", "")) == pytest.approx(1 + wide / 4, abs=0.1)
    assert float(block.get("width", "")) == pytest.approx(wide / 28, abs=0.1)
    (bracket,) = _of(root, "s-ink")
    assert f"M{1 + wide * 2 / 28:.1f} " in bracket.get("d", "")
    assert f"H{1 + wide * 12 / 28:.1f}M" in bracket.get("d", "")
    (due,) = _of(root, "f-ink")
    assert due.get("d", "").startswith(f"M{1 + wide / 4 - 4.5:.1f} ")
    assert [one.text for one in root.iter("text")][:2] == [
        "Wed\u00a025\u00a0Nov",
        "Mon\u00a030\u00a0Nov",
    ]


def test_what_is_broken_or_set_by_hand_tells_itself_apart_without_colour() -> None:
    """A late block is hatched, one set by hand has a dot, a job without a place has no block and says so; an empty line
    has words."""
    late, by_hand = replace(MARK, late=True), replace(MARK, by_hand=True)
    without = replace(MARK, from_at=None, to_at=None)
    assert any(one.get("fill") == "url(#p-boot)" for one in _drawn(WindowLine(name="A", marks=(late,))).iter())
    assert list(_drawn(WindowLine(name="A", marks=(by_hand,))).iter("circle"))
    root = _drawn(WindowLine(name="A", marks=(without,)), WindowLine(name="B", says="no job planned in these days"))
    words = [one.text for one in root.iter("text")]
    assert "knife, no place" in words
    assert "no job planned in these days" in words
    assert not _of(root, "s-block")


@given(st.lists(st.tuples(st.integers(-10, 30), st.integers(0, 20), st.integers(0, 26), st.booleans()), max_size=8))
def test_no_bracket_of_a_pump_lies_on_another(case: list[tuple[int, int, int, bool]]) -> None:
    """Whatever the windows are, marks in one row do not meet, and every mark has a row."""
    field = Scales(NOW, END, 1.0, 758.0, 0.0, 1.0, 0.0, 1.0)
    marks = [
        replace(
            MARK,
            opens_at=NOW + first * DAY,
            due_at=NOW + first * DAY,
            limit_at=NOW + (first + length) * DAY,
            from_at=NOW + slot * DAY if placed else None,
            to_at=NOW + (slot + 1) * DAY if placed else None,
        )
        for first, length, slot, placed in case
    ]
    rows: dict[int, list[tuple[float, float]]] = {}
    placed_rows = lines_of(marks, field)
    assert len(placed_rows) == len(marks)
    for mark, row in placed_rows:
        edges = [field.x(mark.opens_at), field.x(mark.limit_at)]
        if mark.from_at and mark.to_at:
            edges += [field.x(mark.from_at), field.x(mark.to_at)]
        assert all(hi < min(edges) or max(edges) < lo for lo, hi in rows.get(row, []))
        rows.setdefault(row, []).append((min(edges), max(edges)))


def test_a_lack_is_never_said_smaller_than_it_is() -> None:
    """1.2 below is 1.2, 1.25 is 1.3, and a whole figure has no tenth."""
    assert [lack_number(n) for n in (-1.2, -1.25, -4.0, -0.04)] == ["−1.2", "−1.3", "−4", "−0.1"]


@pytest.mark.parametrize("name", VIEWS)
def test_pictures_are_xml_without_style(name: str) -> None:
    """Each drawing is well-formed, is named in words, and holds neither style nor script."""
    wide, narrow = pictures(VIEWS[name])
    for picture in (wide, *narrow):
        for drawn in (picture.margin, picture.windows):
            root = ElementTree.fromstring(drawn)
            assert root.get("aria-label")
            assert all(one.get("style") is None and one.tag != "script" for one in root.iter())


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("usual", "Six jobs are planned to 23\u00a0December. Least margin "),
        ("no plan", "There is no plan yet. 16 jobs wait for a place."),
        ("no jobs", "There is nothing to plan: no open job is known."),
        ("empty plant", "There is nothing to plan: no open job is known."),
        ("below", "with VP1 and VP3 down or not proved: a fact that no date changes."),
        ("below by plan", "As planned, capacity is short now"),
        ("below by plan", "plan again."),
        ("troubled", "VP5 overhaul has no place. VP4 seal inspection ends 3\u00a0days past its limit."),
        ("newer", "A newer plan waits to be taken."),
    ],
)
def test_the_heading_is_the_answer(name: str, said: str) -> None:
    """What is wrong comes first, then how much is planned and the least margin."""
    assert said in says.plan_heading(VIEWS[name])


@pytest.mark.parametrize(
    ("name", "said"),
    [
        (
            "usual",
            "proved best, taken Wed\u00a025\u00a0Nov 08:20. Running hours are read to Wed\u00a025\u00a0Nov 10:14.",
        ),
        ("no plan", "A plan is made each night, and after every reading or job that moves a due point; or plan now."),
        ("empty plant", "Jobs come from the job kinds in the vessel document."),
        ("pinned", "One slot was set by hand. Every one of these slots is held: planning again moves none of them."),
    ],
)
def test_the_line_below_says_what_it_rests_on(name: str, said: str) -> None:
    """When it was planned, from what, whether proved, what was set by hand; without a plan, how to get one."""
    assert said in says.plan_subline(VIEWS[name])


@pytest.mark.parametrize("name", VIEWS)
def test_a_state_needs_nothing_its_policy_forbids(name: str) -> None:
    """No style, inline script or handler; one h1; ids once; a form that posts has the token; nothing is guaranteed."""
    html = plan_page(VIEWS[name], light="day", csrf="c")
    found = Reader(html).tags
    assert sum(tag == "h1" for tag, _ in found) == 1
    for tag, held in found:
        assert tag != "style"
        assert not any(a == "style" or a.startswith("on") for a in held)
        assert tag != "script" or held.get("src")
    ids = [held["id"] for _, held in found if "id" in held]
    assert len(ids) == len(set(ids))
    posts = sum(tag == "form" and held.get("method") == "post" for tag, held in found)
    assert posts == sum(tag == "input" and held.get("name") == "csrf" for tag, held in found)
    assert "guarant" not in html.lower()


def test_every_slot_of_the_drawing_is_a_row_in_words() -> None:
    """Its job as a link, ship time with the offset, margin, and what is to be said of it besides."""
    view = plan()
    first = replace(view.slots[0], with_name="VP2 seal inspection", plus_minus_days=2, by_hand=True)
    html = plan_page(replace(view, slots=(first, *view.slots[1:])), light="", csrf="c")
    words = Reader(html).words
    for slot in view.slots:
        assert f'href="{slot.job.href}"' in html
    assert "Ship time, UTC+1" in words
    assert "pinned by hand; one isolation with VP2 seal inspection; ±2\u00a0days" in words
    assert "14:00 to 17:00" in words


def test_what_forbids_and_what_helps_are_said_in_words() -> None:
    """The table of what forbids is cut with a count; a relief has its price; without one the page says that nothing helps."""
    page = Reader(plan_page(VIEWS["helped"], light="", csrf="c")).words
    assert "The minimum would be broken while VP1 is open for its knife inspection" in page
    assert "4 starts, Wed\u00a025\u00a0Nov to Fri\u00a027\u00a0Nov" in page
    assert "Six more things." in page
    assert "1 more hand on Tue 1 Dec: up to 8 man-hours." in page
    held = VIEWS["helped"].help
    assert held is not None
    bare = replace(VIEWS["helped"], help=replace(held, reliefs=()))
    assert "No single change aboard would help VP5 overhaul" in Reader(plan_page(bare, light="", csrf="c")).words


def test_a_start_that_does_not_hold_is_drawn_and_said_below() -> None:
    """The dip lies under the bed's line in dark red hatch with how far below; the words stand beside the fields, and nothing is
    chosen for the person; what moves along and who set it is said."""
    view = VIEWS["moving"]
    root = ElementTree.fromstring(move_picture(view))
    assert "1.2 below the minimum" in (root.get("aria-label") or "")
    assert "short by 1.2" in [one.text for one in root.iter("text")]
    assert any(one.get("fill") == "url(#p-boot)" for one in root.iter())
    found = Reader(plan_page(view, light="", csrf="c"))
    assert "With both open 70.8 m3/h remains, 1.2 below the minimum." in found.words.replace("\u00a0", " ")
    assert "VP3 seal inspection moves along: one isolation." in found.words
    assert "Set by hand by Second engineer: Thu\u00a026\u00a0Nov 09:00 to 12:00." in found.words
    radios = [held for tag, held in found.tags if tag == "input" and held.get("type") == "radio"]
    assert len(radios) == 2
    assert not any("checked" in held for held in radios)
    day = next(held for tag, held in found.tags if tag == "input" and held.get("name") == "day" and "id" in held)
    assert (day["value"], day["aria-invalid"], day["aria-describedby"]) == ("2026-11-25", "true", "e-move")


def test_a_start_that_holds_is_chosen_with_its_margin_and_what_to_mind() -> None:
    """The asked time is ticked, its margin stands beside it, cautions are said, and the form carries version and key."""
    found = Reader(plan_page(VIEWS["moving, holds"], light="", csrf="c"))
    ticked = [held for _, held in found.tags if held.get("type") == "radio" and "checked" in held]
    assert [held["value"] for held in ticked] == ["2026-11-25T13:00:00+00:00"]
    assert "holds: margin 21 m3/h." in found.words
    assert "Mind: It begins before its window opens." in found.words
    sent = {held.get("name"): held.get("value") for tag, held in found.tags if tag == "input"}
    assert (sent["version"], sent["job"]) == ("3", "knife:knife-3:4")


def test_moves_by_hand_are_listed_and_only_the_newest_can_be_undone() -> None:
    """Where from, where to, by whom, why, in which record; one that was undone says by whom."""
    page = plan_page(VIEWS["moved"], light="", csrf="c")
    said = " ".join(Reader(page).words.split())
    assert "Thu 26 Nov 09:00 → Wed 25 Nov 19:00" in said
    assert "record 41. Why: the bell is on the other deck" in said
    assert "no slot →" in said
    assert "Undone by Chief engineer" in said
    assert re.findall(r'action="([^"]+/undo)"', page) == ["/plants/demo/plan/moves/2/undo"]


@given(st.integers(0, 525_600), st.integers(-12 * 60, 14 * 60))
def test_a_typed_day_and_time_come_back_as_they_were_typed(minute: int, offset: int) -> None:
    """Ship time to UTC and back is the same day and minute, whatever the offset."""
    wall = NOW + timedelta(minutes=minute)
    at = start_of({"day": f"{wall:%Y-%m-%d}", "at": f"{wall:%H:%M}"}, offset)
    assert f"{ship(at, offset):%Y-%m-%d %H:%M}" == f"{wall:%Y-%m-%d %H:%M}"


@pytest.mark.parametrize(("day", "at", "faults"), [("", "", 2), ("2026-11-31", "14:00", 1), ("2026-11-25", "2 pm", 1)])
def test_a_day_or_time_that_is_none_is_a_fault_at_its_field(day: str, at: str, faults: int) -> None:
    """Each field that cannot be read is named."""
    with pytest.raises(Refused) as refused:
        start_of({"day": day, "at": at}, 60)
    assert len(refused.value.faults) == faults


def test_reasons_that_are_alike_are_said_once() -> None:
    """Two jobs on their best day share a line, a kind that comes twice is counted, being in time is not worth a word."""
    problem = Problem(starts_at=NOW, steps=0, pumps=(), minimum=(), crew=(), start_steps=(), jobs=())
    names = {
        "a": "Alarm test",
        "b": "VP1 knife inspection",
        "c": "VP3 overhaul",
        "d": "Alarm test",
        "e": "VP2 seal inspection",
    }
    words = replace(words_for(problem), job=names.__getitem__, pump=lambda _: "VP2")
    opened = Blocker(
        from_step=24, to_step=25, starts=1, bar=Bar(code=BarCode.PUMP_OPEN, pumps=("pump-b",), keys=("e",))
    )
    away = PlaceReason(code=ReasonCode.BEST_DAY_AWAY, step=9 * 24, days=-2)
    told = [
        _told("a", PlaceReason(code=ReasonCode.BEST_DAY, step=24, limit=700)),
        _told("b", PlaceReason(code=ReasonCode.BEST_DAY, step=240, limit=800)),
        _told("c", away, PlaceReason(code=ReasonCode.NEARER_STARTS, blocker=opened)),
        _told("d", PlaceReason(code=ReasonCode.BEST_DAY, step=480, limit=900)),
    ]
    one, two = whys(told, words)
    assert (one.names, one.reasons) == (
        "Alarm test (2 times) and VP1 knife inspection",
        ("Each stands on its best day.",),
    )
    assert two.reasons == (
        "Its best day is Fri 4 Dec, 2 days later.",
        "Nearer starts, Thu 26 Nov: VP2 is open for its seal inspection.",
    )


def _told(key: str, *reasons: PlaceReason) -> Explained:
    in_time = PlaceReason(code=ReasonCode.IN_TIME, step=24, limit=700)
    return Explained(key=key, reasons=(in_time, *reasons), forbidden=(), days_late=0)
