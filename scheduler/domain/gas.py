"""What a gas reading before opening means, against published limits; the ship's own limits come first.

A reading under a published limit is never called good: local limits are lower in places, and smell fails.
"""

from scheduler.errors import Refused

OXYGEN_LEAST, OXYGEN_MOST = 19.5, 23.5
"""Percent. Source: 29 CFR 1910.146(b), hazardous atmosphere (from memory)."""
LEL_MOST_PERCENT = 10.0
"""Source: 29 CFR 1910.146(b), hazardous atmosphere (from memory)."""
H2S_CEILING_NIOSH_PPM = 10.0
"""10-minute ceiling. Source: NIOSH/OSHA hydrogen sulfide pages."""
H2S_CEILING_OSHA_PPM = 20.0
"""Ceiling. Source: OSHA hydrogen sulfide page."""


def h2s_words(ppm: float, ship_limit_ppm: float | None = None) -> tuple[bool, str]:
    """Whether a reading of hydrogen sulphide exceeds a limit, and the words for it.

    Raises:
        Refused: below 0.

    >>> h2s_words(21)[1]
    'H2S 21 ppm: above the OSHA ceiling of 20 ppm. Leave, ventilate, do not open.'
    """
    if not 0 <= ppm <= 10_000:
        raise Refused(f"H2S {ppm:g} ppm cannot be: 0 to 10 000 was expected. Read the meter again.")
    if ppm > H2S_CEILING_OSHA_PPM:
        return (
            True,
            f"H2S {ppm:g} ppm: above the OSHA ceiling of {H2S_CEILING_OSHA_PPM:g} ppm. Leave, ventilate, do not open.",
        )
    if ppm > H2S_CEILING_NIOSH_PPM:
        return True, (
            f"H2S {ppm:g} ppm: above the NIOSH 10-minute ceiling of {H2S_CEILING_NIOSH_PPM:g} ppm and above the same "
            "figure as an 8-hour mean. Leave, ventilate, do not open."
        )
    if ship_limit_ppm is not None and ppm > ship_limit_ppm:
        return (
            True,
            f"H2S {ppm:g} ppm: above the ship's own limit of {ship_limit_ppm:g} ppm. Ventilate and check again.",
        )
    return False, f"H2S {ppm:g} ppm exceeds no limit known here; limits are lower in places. Keep the meter on."


def gas_faults(
    oxygen_percent: float | None, lel_percent: float | None, h2s_ppm: float | None, ship_limit_ppm: float | None = None
) -> list[str]:
    """What speaks against opening, in words; empty when no reading exceeds a limit and none is missing."""
    faults: list[str] = []
    missing = [
        name for name, value in (("O2", oxygen_percent), ("LEL", lel_percent), ("H2S", h2s_ppm)) if value is None
    ]
    if missing:
        faults.append(f"{', '.join(missing)} not read; O2, LEL and H2S are all checked before opening.")
    if oxygen_percent is not None and not OXYGEN_LEAST <= oxygen_percent <= OXYGEN_MOST:
        faults.append(f"O2 {oxygen_percent:g} %: {OXYGEN_LEAST:g} to {OXYGEN_MOST:g} % was expected.")
    if lel_percent is not None and lel_percent >= LEL_MOST_PERCENT:
        faults.append(f"LEL {lel_percent:g} %: under {LEL_MOST_PERCENT:g} % was expected.")
    if h2s_ppm is not None:
        above, words = h2s_words(h2s_ppm, ship_limit_ppm)
        if above:
            faults.append(words)
    return faults
