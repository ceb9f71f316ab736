"""The two invented ships as plain figures. Every figure is made up for the demonstration (judgement, no source)."""

from dataclasses import dataclass
from typing import NamedTuple


@dataclass(frozen=True, slots=True, kw_only=True)
class Register:
    """How a position's counter counts, and what goes wrong with it. Days are days before the end of the past.

    first_count: what it shows at the start. ends_on_count: what a rolling register shows at the end.
    stuck_days / replaced_days: it stands still from then on, until a new one counting from 0 takes its place.
    spike_days: one wild value. silent_days: nothing comes from it any more.
    """

    seconds_per_count: int = 3600
    first_count: int = 0
    modulus: int | None = None
    ends_on_count: int | None = None
    stuck_days: int | None = None
    replaced_days: int | None = None
    spike_days: int | None = None
    silent_days: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpPlan:
    """A pump, its counter, and the running hours since each job was last done, at the end of the past."""

    letter: str
    serial: str
    rated_swept_m3_per_h: float
    measured_swept_m3_per_h: float | None
    derate: float = 1.0
    opening_running_hours: int
    since_overhaul_hours: int
    since_seal_hours: int
    since_knives_hours: int
    pull_down_days: int
    register: Register


class Stop(NamedTuple):
    """A pump that broke down: its index, so many days before the end of the past, at that ship's hour, and hours until it was back."""

    pump: int
    days: int
    hour: int
    hours: int


class Minimums(NamedTuple):
    """Minimum capacity in swept m3/h at the stop setpoint."""

    normal: float
    night: float
    busy: float
    full_ship: float
    full_ship_busy: float
    few_aboard: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ShipPlan:
    """A ship, her plant, her round voyage and her habits. Day 0 is the ship's date at the end of the past.

    pumps_running: how many pumps run on average at sea. port_days: days of the `round_days` on which she lies in port
    from 06 to 18. full_ship: first and last day of every `full_ship_every_days`. few_aboard: first and last day.
    link_cut_days: the gateway's link was cut between these two days before the end. keeps_days: an operating calendar is
    kept aboard. leak_days: so many days before the end a leak begins that lasts. shares_air: the
    demand is air to be taken out, so that a small pump runs longer for its share. full_ship_load: demand of a full-ship day
    against another. stop: a breakdown of a past that is enacted.
    """

    key: str
    name: str
    imo: str
    utc_offset_minutes: int
    receiver_m3: float
    pumps_running: float
    round_days: int
    port_days: frozenset[int]
    full_ship_every_days: int
    full_ship: tuple[int, int]
    few_aboard: tuple[int, int] | None
    link_cut_days: tuple[int, int] | None
    minimums: Minimums
    hands: int
    standby_days: int
    alarm_days: int
    hold_days: int
    keeps_days: bool
    leak_days: int | None = None
    shares_air: bool = False
    full_ship_load: float = 1.15
    stop: Stop
    pumps: tuple[PumpPlan, ...]

    @property
    def vessel(self) -> str:
        """The vessel's id."""
        return f"demo-{self.key}"

    def pump(self, number: int) -> str:
        """The id of the pump with that index (from 0)."""
        return f"{self.key}-pump-{self.pumps[number].letter}"

    def counter(self, number: int) -> str:
        """The id of the counter at the position with that index (from 0)."""
        return f"{self.key}-vp{number + 1}-hours"

    def in_port(self, day: int) -> bool:
        """True when she lies in port by day on that day."""
        return day % self.round_days in self.port_days

    def is_full(self, day: int) -> bool:
        """True on a full-ship day."""
        return self.full_ship[0] <= day % self.full_ship_every_days <= self.full_ship[1]


# Three pumps: any one may be out on a normal day; when the ship is full, the two large ones only outside busy hours.
PLOVER = ShipPlan(
    key="plover",
    name="Demo Plover",
    imo="0123450",
    utc_offset_minutes=60,
    receiver_m3=3.2,
    pumps_running=1.25,
    round_days=7,
    port_days=frozenset({0, 3}),
    full_ship_every_days=63,
    full_ship=(12, 22),
    few_aboard=None,
    link_cut_days=(152, 146),
    minimums=Minimums(100.0, 80.0, 120.0, 125.0, 135.0, 60.0),
    hands=2,
    standby_days=5,
    alarm_days=12,
    hold_days=60,
    keeps_days=False,
    stop=Stop(pump=2, days=331, hour=3, hours=15),
    pumps=(
        PumpPlan(
            letter="a",
            serial="DP-1041",
            rated_swept_m3_per_h=80.0,
            measured_swept_m3_per_h=74.5,
            opening_running_hours=14210,
            since_overhaul_hours=7310,
            since_seal_hours=1920,
            since_knives_hours=1535,
            pull_down_days=79,
            register=Register(first_count=18233),
        ),
        PumpPlan(
            letter="b",
            serial="DP-1042",
            rated_swept_m3_per_h=80.0,
            measured_swept_m3_per_h=71.0,
            opening_running_hours=12870,
            since_overhaul_hours=4150,
            since_seal_hours=2880,
            since_knives_hours=1410,
            pull_down_days=30,
            register=Register(seconds_per_count=360, modulus=65536, ends_on_count=13400),
        ),
        PumpPlan(
            letter="c",
            serial="DP-0977",
            rated_swept_m3_per_h=60.0,
            measured_swept_m3_per_h=None,
            derate=0.92,
            opening_running_hours=9035,
            since_overhaul_hours=5600,
            since_seal_hours=2870,
            since_knives_hours=740,
            pull_down_days=55,
            register=Register(first_count=9035, stuck_days=203, replaced_days=200),
        ),
    ),
)

# Six pumps: a large and a small one may be out together on a normal day, two large ones only with few aboard.
AVOCET = ShipPlan(
    key="avocet",
    name="Demo Avocet",
    imo="0246800",
    utc_offset_minutes=-180,
    receiver_m3=8.0,
    pumps_running=2.45,
    round_days=10,
    port_days=frozenset({1, 4, 8}),
    full_ship_every_days=56,
    full_ship=(18, 31),
    few_aboard=(64, 69),
    link_cut_days=None,
    minimums=Minimums(330.0, 280.0, 355.0, 400.0, 430.0, 210.0),
    hands=3,
    standby_days=2,
    alarm_days=26,
    hold_days=100,
    keeps_days=True,
    leak_days=17,
    shares_air=True,
    full_ship_load=1.04,
    stop=Stop(pump=3, days=262, hour=21, hours=19),
    pumps=(
        PumpPlan(
            letter="a",
            serial="DA-2210",
            rated_swept_m3_per_h=110.0,
            measured_swept_m3_per_h=102.0,
            opening_running_hours=20140,
            since_overhaul_hours=7420,
            since_seal_hours=2230,
            since_knives_hours=1120,
            pull_down_days=20,
            register=Register(first_count=20140),
        ),
        PumpPlan(
            letter="b",
            serial="DA-2211",
            rated_swept_m3_per_h=110.0,
            measured_swept_m3_per_h=99.5,
            opening_running_hours=19660,
            since_overhaul_hours=7390,
            since_seal_hours=2480,
            since_knives_hours=1130,
            pull_down_days=97,
            register=Register(seconds_per_count=360, first_count=187345),
        ),
        PumpPlan(
            letter="c",
            serial="DA-2212",
            rated_swept_m3_per_h=110.0,
            measured_swept_m3_per_h=104.0,
            opening_running_hours=16025,
            since_overhaul_hours=2615,
            since_seal_hours=2615,
            since_knives_hours=1440,
            pull_down_days=44,
            register=Register(seconds_per_count=60, first_count=600000),
        ),
        PumpPlan(
            letter="d",
            serial="DA-2213",
            rated_swept_m3_per_h=110.0,
            measured_swept_m3_per_h=97.0,
            opening_running_hours=15480,
            since_overhaul_hours=5050,
            since_seal_hours=2600,
            since_knives_hours=1452,
            pull_down_days=61,
            register=Register(first_count=4127, spike_days=40),
        ),
        PumpPlan(
            letter="e",
            serial="DA-1870",
            rated_swept_m3_per_h=66.0,
            measured_swept_m3_per_h=60.0,
            opening_running_hours=23310,
            since_overhaul_hours=6480,
            since_seal_hours=890,
            since_knives_hours=890,
            pull_down_days=12,
            register=Register(first_count=23310, silent_days=9),
        ),
        PumpPlan(
            letter="f",
            serial="DA-1871",
            rated_swept_m3_per_h=65.0,
            measured_swept_m3_per_h=None,
            derate=0.9,
            opening_running_hours=22905,
            since_overhaul_hours=1480,
            since_seal_hours=1480,
            since_knives_hours=310,
            pull_down_days=86,
            register=Register(first_count=11872),
        ),
    ),
)

SHIPS = (PLOVER, AVOCET)
