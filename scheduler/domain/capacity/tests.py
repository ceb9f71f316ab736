"""Pull-down and hold tests: what a pump really sweeps, and what leaks in. Pressures are absolute, kPa.

The receiver's pressure follows V dp/dt = q - S (p - pu): V its volume, S the swept volume an hour, pu the pressure at
which the pump draws nothing more, q the leak. Swept volume and free air are different types and never mix.

A pull-down alone cannot tell a worn pump from a leaking receiver; a hold with all pumps stopped can. Figures are
compared over the same stretch of pressure only, for a pump's swept volume changes along it.

Source: the pump-down formula of a vacuum pump maker's fundamentals page, t = (V/S) ln((p0 - pu - q/S)/(p1 - pu - q/S)).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray

from scheduler.domain.capacity.minimum import ATMOSPHERE_KPA, Free, Swept, swept_of
from scheduler.errors import Refused

LEAST_SAMPLES = 4
"""Two figures are fitted; fewer samples than this leave no spread to judge them by (judgement, no source)."""
LEAST_HOLD_SECONDS = 60.0
"""A shorter hold says nothing about a leak (judgement, no source)."""
BAND_KPA = 15.0
"""Width of the stretch above the stop setpoint over which pumps are compared (judgement, no source)."""
_MOST_M3_PER_H = 1e7

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, order=True)
class Leak:
    """A leak as throughput, Pa m3/s."""

    pa_m3_per_s: float

    @property
    def free(self) -> Free:
        """The same as free air at atmosphere."""
        return Free(self.pa_m3_per_s * 3.6 / ATMOSPHERE_KPA)

    def swept_at(self, vacuum_kpa: float) -> Swept:
        """What must be swept at that vacuum to carry it off."""
        return swept_of(self.free, vacuum_kpa)


NO_LEAK = Leak(0.0)


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch of absolute pressure that is pulled down, kPa."""

    from_kpa: float
    to_kpa: float

    def __post_init__(self) -> None:
        if not self.from_kpa > self.to_kpa > 0:
            raise Refused(
                f"A pull-down from {self.from_kpa:g} to {self.to_kpa:g} kPa absolute cannot be: a higher pressure, then a "
                "lower one above 0 was expected. Check which is start and which is stop."
            )


@dataclass(frozen=True, slots=True)
class Sample:
    """Absolute pressure at so many seconds from the start of a log."""

    seconds: float
    kpa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What a test showed over a band. leak none: not determinable, there was no hold; `swept` is then net of any leak.

    The spreads are standard errors; none when too few samples lie in it.
    """

    swept: Swept
    swept_spread_m3_per_h: float | None
    leak: Leak | None
    leak_spread_pa_m3_per_s: float | None
    band: Band
    samples: int


def pull_down_seconds(
    volume_m3: float, swept: Swept, band: Band, *, ultimate_kpa: float = 0.0, leak: Leak = NO_LEAK
) -> float:
    """Seconds to pull the receiver down over the band.

    Raises:
        Refused: the pump never gets there; no volume or no swept volume.
    """
    s = _positive("Swept volume", swept.m3_per_h, "m³/h") / 3600
    floor = ultimate_kpa + leak.pa_m3_per_s / 1000 / s
    if band.to_kpa <= floor:
        raise Refused(
            f"{swept.m3_per_h:g} m³/h never reach {band.to_kpa:g} kPa absolute: with this leak and the pump's own limit the "
            f"pressure stays above {floor:.1f}. Check leak, volume and pump."
        )
    return _positive("Receiver volume", volume_m3, "m³") / s * log((band.from_kpa - floor) / (band.to_kpa - floor))


def effective_swept(
    volume_m3: float, seconds: float, band: Band, *, ultimate_kpa: float = 0.0, leak: Leak = NO_LEAK
) -> Swept:
    """The swept volume that pulls the receiver down over the band in so many seconds: the inverse of the above.

    Raises:
        Refused: no time, no volume, or the stop pressure is not above the pump's own limit.
    """
    volume, seconds = _positive("Receiver volume", volume_m3, "m³"), _positive("Time", seconds, "s")
    if band.to_kpa <= ultimate_kpa:
        raise Refused(
            f"The test ends at {band.to_kpa:g} kPa absolute, not above the pump's own limit of {ultimate_kpa:g}. Check both."
        )
    q = leak.pa_m3_per_s / 1000
    plain = volume / seconds * log((band.from_kpa - ultimate_kpa) / (band.to_kpa - ultimate_kpa))
    if q == 0:
        return Swept(plain * 3600)
    # The time falls as S rises above the least S that gets there at all, so one root lies between.
    low, high = q / (band.to_kpa - ultimate_kpa), max(plain, q / (band.to_kpa - ultimate_kpa)) * 2

    def takes(s: float) -> float:
        return pull_down_seconds(volume, Swept(s * 3600), band, ultimate_kpa=ultimate_kpa, leak=leak)

    while takes(high) > seconds and high * 3600 < _MOST_M3_PER_H:
        high *= 2
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if middle * (band.to_kpa - ultimate_kpa) <= q or takes(middle) > seconds:
            low = middle
        else:
            high = middle
    return Swept(high * 3600)


def leak_of_hold(volume_m3: float, rise_kpa: float, seconds: float) -> Leak:
    """The leak that raises the pressure by so much with all pumps stopped: q = V dp/dt. A fall counts as none.

    Raises:
        Refused: no volume or no time.

    >>> round(leak_of_hold(2.0, 2.0, 300).pa_m3_per_s, 3)
    13.333
    """
    volume, seconds = _positive("Receiver volume", volume_m3, "m³"), _positive("Time", seconds, "s")
    return Leak(max(0.0, volume * rise_kpa * 1000 / seconds))


def measured(
    volume_m3: float,
    pull: Sequence[Sample],
    hold: Sequence[Sample] = (),
    *,
    band: Band | None = None,
    ultimate_kpa: float = 0.0,
) -> Measured:
    """What a logged test shows: swept volume over the band, and with a hold the leak, each with its standard error.

    Args:
        pull: samples while the pump draws. hold: samples with all pumps stopped, a minute or more; may be empty.
        band: only samples in it count (none: all).

    Raises:
        Refused: too few samples, or the pressure does not fall.
    """
    volume = _positive("Receiver volume", volume_m3, "m³")
    within = [one for one in pull if band is None or band.to_kpa <= one.kpa <= band.from_kpa]
    if len(within) < LEAST_SAMPLES:
        where = "" if band is None else f" from {band.from_kpa:.1f} to {band.to_kpa:.1f} kPa absolute"
        raise Refused(
            f"The log has {len(within)} samples of the pull-down{where}; {LEAST_SAMPLES} or more were expected. Log more often, "
            "or give the seconds between the two pressures."
        )
    if not within[0].kpa > within[-1].kpa:
        raise Refused(
            f"The pressure does not fall in the log: {within[0].kpa:.1f} kPa absolute first, {within[-1].kpa:.1f} last. Check "
            "columns and signs."
        )
    leak, leak_spread = _leak(volume, hold)
    taken = band or Band(float(within[0].kpa), float(within[-1].kpa))
    swept, spread = _swept(volume, within, leak or NO_LEAK, leak_spread or 0.0, ultimate_kpa)
    return Measured(
        swept=Swept(swept),
        swept_spread_m3_per_h=spread,
        leak=leak,
        leak_spread_pa_m3_per_s=leak_spread,
        band=taken,
        samples=len(within),
    )


def compare_band(stop_vacuum_kpa: float, width_kpa: float = BAND_KPA) -> Band:
    """The stretch over which a plant's pumps are compared: from `width_kpa` short of the stop setpoint to it."""
    stop = ATMOSPHERE_KPA - stop_vacuum_kpa
    return Band(min(stop + width_kpa, ATMOSPHERE_KPA), stop)


def _leak(volume: float, hold: Sequence[Sample]) -> tuple[Leak | None, float | None]:
    if len(hold) < LEAST_SAMPLES or hold[-1].seconds - hold[0].seconds < LEAST_HOLD_SECONDS:
        return None, None
    at = np.array([one.seconds for one in hold])
    kpa = np.array([one.kpa for one in hold])
    centred = at - at.mean()
    slope = float(centred @ kpa / (centred @ centred))
    rest = kpa - kpa.mean() - slope * centred
    error = sqrt(float(rest @ rest) / (len(hold) - 2) / float(centred @ centred))
    return leak_of_hold(volume, slope, 1.0), volume * 1000 * error


def _swept(
    volume: float, pull: Sequence[Sample], leak: Leak, leak_spread: float, ultimate_kpa: float
) -> tuple[float, float]:
    """Least squares for start pressure and swept volume, by Gauss and Newton's steps. (m3/h, standard error.)"""
    at = np.array([one.seconds - pull[0].seconds for one in pull])
    kpa = np.array([one.kpa for one in pull])
    q = leak.pa_m3_per_s / 1000
    start = effective_swept(volume, float(at[-1]), Band(float(kpa[0]), float(kpa[-1]))).m3_per_h / 3600

    def curve(s: float, first: float, flow: float) -> Floats:
        floor = ultimate_kpa + flow / s
        return np.asarray(floor + (first - floor) * np.exp(-s * at / volume))

    def slopes(s: float, first: float) -> Floats:
        floor, gone = ultimate_kpa + q / s, np.exp(-s * at / volume)
        by_s = -q / s**2 * (1 - gone) - (first - floor) * at / volume * gone
        return np.stack([by_s, gone], axis=1)

    fit = np.array([max(start + q / float(kpa[-1]), 1e-6), float(kpa[0])])
    for _ in range(60):
        change, *_ = np.linalg.lstsq(slopes(*fit), kpa - curve(fit[0], fit[1], q), rcond=None)
        while fit[0] + change[0] <= 0:
            change = change / 2
        fit = fit + change
        if abs(change[0]) < 1e-12 * fit[0]:
            break
    s, first = map(float, fit)
    rest = kpa - curve(s, first, q)
    inverse = np.linalg.inv(slopes(s, first).T @ slopes(s, first))
    own = float(rest @ rest) / (len(pull) - 2) * float(inverse[0, 0])
    by_leak = (1 - np.array([exp(-s * t / volume) for t in at])) / s
    through = float((inverse @ slopes(s, first).T @ by_leak)[0]) * leak_spread / 1000
    return s * 3600, sqrt(own + through**2) * 3600


def _positive(what: str, figure: float, unit: str) -> float:
    if not 0 < figure < float("inf"):
        raise Refused(f"{what} is {figure:g} {unit}: above 0 was expected. Give the figure again.")
    return figure
