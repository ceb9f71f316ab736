"""What a gas reading before opening means, against published limits; the ship's own limits come first.

A reading under a published limit is never called good: local limits are lower in places, and smell fails.
"""

from collections.abc import Iterator
from enum import StrEnum
from typing import NamedTuple

from scheduler.errors import Refused
from scheduler.language import gettext as _

OXYGEN_LEAST, OXYGEN_MOST = 19.5, 23.5
"""Percent. Source: 29 CFR 1910.146(b), hazardous atmosphere (from memory)."""
LEL_MOST_PERCENT = 10.0
"""Source: 29 CFR 1910.146(b), hazardous atmosphere (from memory)."""
H2S_CEILING_NIOSH_PPM = 10.0
"""10-minute ceiling. Source: NIOSH/OSHA hydrogen sulfide pages."""
H2S_CEILING_OSHA_PPM = 20.0
"""Ceiling. Source: OSHA hydrogen sulfide page."""


class Gas(StrEnum):
    """What is wrong with a reading."""

    NOT_READ = "gas not read"
    OXYGEN = "oxygen out of range"
    LEL = "flammable gas"
    H2S_OSHA = "hydrogen sulphide above the OSHA ceiling"
    H2S_NIOSH = "hydrogen sulphide above the NIOSH ceiling"
    H2S_SHIP = "hydrogen sulphide above the ship's own limit"


class GasFault(NamedTuple):
    """One thing wrong with a reading. value: what was read; limit: the one it breaks; names: of what was not read."""

    code: Gas
    value: float = 0.0
    limit: float = 0.0
    names: tuple[str, ...] = ()


def gas_faults(
    oxygen_percent: float | None, lel_percent: float | None, h2s_ppm: float | None, ship_limit_ppm: float | None = None
) -> list[GasFault]:
    """What speaks against opening; empty when no reading exceeds a limit known here and none is missing.

    Raises:
        Refused: a figure that no meter shows.
    """
    return list(_faults(oxygen_percent, lel_percent, h2s_ppm, ship_limit_ppm))


def _faults(oxygen: float | None, lel: float | None, h2s: float | None, ship_limit: float | None) -> Iterator[GasFault]:
    for name, figure, most in (("O2, %", oxygen, 100), ("LEL, %", lel, 100), ("H2S, ppm", h2s, 10_000)):
        if figure is not None and not 0 <= figure <= most:
            raise Refused(
                _(
                    "{name}: {figure} cannot be: 0 to {most} was expected. Read the meter again.",
                    name=name,
                    figure=f"{figure:g}",
                    most=most,
                )
            )
    missing = tuple(name for name, value in (("O2", oxygen), ("LEL", lel), ("H2S", h2s)) if value is None)
    if missing:
        yield GasFault(Gas.NOT_READ, names=missing)
    if oxygen is not None and not OXYGEN_LEAST <= oxygen <= OXYGEN_MOST:
        yield GasFault(Gas.OXYGEN, oxygen, OXYGEN_LEAST if oxygen < OXYGEN_LEAST else OXYGEN_MOST)
    if lel is not None and lel >= LEL_MOST_PERCENT:
        yield GasFault(Gas.LEL, lel, LEL_MOST_PERCENT)
    if h2s is None:
        return
    if h2s > H2S_CEILING_OSHA_PPM:
        yield GasFault(Gas.H2S_OSHA, h2s, H2S_CEILING_OSHA_PPM)
    elif h2s > H2S_CEILING_NIOSH_PPM:
        yield GasFault(Gas.H2S_NIOSH, h2s, H2S_CEILING_NIOSH_PPM)
    elif ship_limit is not None and h2s > ship_limit:
        yield GasFault(Gas.H2S_SHIP, h2s, ship_limit)
