"""Example job sheets: steps, measures, parts and tools of each job kind, from common practice, in our own words.

They are examples, no source: the maker's manual and the ship's own procedures say how it is done aboard.
"""

from typing import Any


def _at(when: str, text: str, act: str = "") -> dict[str, str]:
    """A step with its place in the work; one that is an act of its own is told by that act."""
    return {"text": text, "when": when, "act": act}


_BEFORE, _ISOLATED, _OPEN, _CLOSED, _BACK = "before isolating", "isolated", "open", "closed up", "back in use"
_FIRST = [
    _at(_BEFORE, "Stand-by seen running, those concerned told.", "made ready"),
    _at(_BEFORE, "Inlet shut, fresh water through, drained to the sewage tank or a closed container.", "rinsed"),
    _at(_ISOLATED, "Breaker locked: start tried with control supply alive.", "start tried"),
    _at(_ISOLATED, "No voltage at the terminals, all phases.", "no voltage"),
    _at(_ISOLATED, "Valves locked: gauge stays at zero; drained.", "vacuum let out"),
]
_LAST = [
    _at(_CLOSED, "People, tools and rags clear, covers on; then personal locks, then point by point.", "people clear"),
    _at(_BACK, "Local start: leaks, current of the phases, turning. Then AUTO.", "started locally"),
    _at(_BACK, "Pull-down over the plant's band, quiet hour, other pumps stopped.", "tested"),
]


def _work(*texts: str) -> list[dict[str, str]]:
    """The order of the work, with what is done at the open pump in its middle."""
    return [*_FIRST, *(_at(_OPEN, text) for text in texts), *_LAST]


_GAP = {"name": "knife gap, widest", "unit": "mm", "low": 0.1, "high": 0.5}
_CURRENT = {"name": "motor current", "unit": "A", "high": 12.0, "nameplate": True}
_DROPS = {"name": "seal drops a minute", "high": 10}
_TOOLS = ["gas meter, in calibration", "locks and tags", "torque wrench", "feeler gauges", "cut-proof gloves"]

SHEETS: dict[str, dict[str, Any]] = {
    "knife_inspection": {
        "steps": _work(
            "Take off the knife cover. Gloves on; turn the rotor only with a bar, never by hand.",
            "Take out cloth, wipes and anything hard; write down what it was.",
            "Measure the knife gap at four places; look at edges and bolts, change a chipped set.",
            "Fit the cover with a new O-ring, tighten crosswise to the maker's torque.",
        ),
        "measures": [_GAP, {"name": "largest chip", "unit": "mm", "high": 2.0}, _CURRENT],
        "parts": [{"name": "knife cover O-ring", "quantity": 1}, {"name": "knife set", "quantity": 1}],
        "tools": _TOOLS,
    },
    "seal_inspection": {
        "steps": _work(
            "Look at the seal without parting its faces: springs, bellows, scale, traces of running dry.",
            "If the faces were parted, fit a new seal. Faces once parted are not put together again.",
            "Open and flush the seal water line; see that it runs at the flow the maker gives.",
        ),
        "measures": [_DROPS, {"name": "seal water", "unit": "l/min", "low": 1.0}, _CURRENT],
        "parts": [{"name": "mechanical seal", "quantity": 1}, {"name": "seal cover gasket", "quantity": 1}],
        "tools": _TOOLS,
    },
    "overhaul": {
        "steps": _work(
            "Uncouple, sling the pump from a rated point in date, lift it to the bench.",
            "Strip it, lay parts out in order. Measure rotor, liner and knife gap; change what is out of limit.",
            "Put together with the maker's clearances and torques; turn by a bar: free all round.",
            "Lift back, couple, align, torque the foot bolts. Megger the motor with its supply off.",
        ),
        "measures": [
            _GAP,
            {"name": "rotor clearance", "unit": "mm", "low": 0.1, "high": 0.4},
            {"name": "alignment", "unit": "mm", "high": 0.1},
            {"name": "motor insulation", "unit": "Mohm", "low": 1.0},
            _CURRENT,
            _DROPS,
        ],
        "parts": [
            {"name": "knife set", "quantity": 1},
            {"name": "mechanical seal", "quantity": 1},
            {"name": "bearing set", "quantity": 1},
            {"name": "O-ring and gasket set", "quantity": 1},
            {"name": "rotor", "quantity": 1},
        ],
        "tools": [*_TOOLS, "lifting gear, rated and in date", "dial gauge", "insulation tester"],
    },
    "pull_down_test": {
        "steps": [
            "Choose a quiet hour and tell bridge and hotel. Stand-by pump ready, level of the sewage tank low.",
            "Stop the other pumps from their panels; this one alone runs.",
            "Let the vacuum fall to the start of the band, start this pump, time it to the stop of the band.",
            "Read the motor current half way. Do it twice; when the two differ by more than a tenth, a third time.",
            "Put all pumps back to AUTO and see that the lead pump takes over.",
        ],
        "measures": [
            {"name": "first pull-down", "unit": "s"},
            {"name": "second pull-down", "unit": "s"},
            _CURRENT,
        ],
        "tools": ["stop watch", "vacuum gauge, in calibration", "current clamp"],
    },
    "hold_test": {
        "steps": [
            "Choose a quiet hour and tell bridge and hotel that toilets stay shut for the minutes of the test.",
            "Pull the receiver down to the stop of the band, then stop all pumps from their panels.",
            "Read the vacuum at once and after ten minutes. Nobody flushes meanwhile; if one did, begin again.",
            "All pumps back to AUTO. Where it fell too far, shut one branch at a time and read again.",
        ],
        "measures": [
            {"name": "vacuum at first", "unit": "kPa"},
            {"name": "vacuum after ten minutes", "unit": "kPa"},
            {"name": "fall", "unit": "kPa", "high": 5.0},
        ],
        "tools": ["stop watch", "vacuum gauge, in calibration"],
    },
    "standby_start": {
        "steps": [
            "Warn those at the plant: pumps start by themselves.",
            "Switch the lead pump to OFF at its panel and let the vacuum fall.",
            "See the stand-by pump start by itself at its set point; read the vacuum at which it did.",
            "Listen to it for five minutes; look at the seal. Lead pump back to AUTO.",
        ],
        "measures": [{"name": "stand-by started at", "unit": "kPa"}],
    },
    "alarm_test": {
        "steps": [
            "Tell the bridge and the engine control room which alarms will come.",
            "Low vacuum: bleed the pressure switch line, not the plant. See the alarm and note the value.",
            "Receiver level high and motor trip: work the float and the test button. See each alarm.",
            "Acknowledge, reset, see every alarm gone and every switch back in its place.",
        ],
        "measures": [{"name": "low vacuum alarm at", "unit": "kPa"}],
    },
}
