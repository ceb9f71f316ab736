"""Acts on a page, counted in taps and typed fields and reckoned in seconds by a published keystroke-level model.

Source: Card, Moran & Newell, "The Keystroke-Level Model for User Performance Time with Interactive Systems", Communications of
the ACM 23(7), 1980: operators, their times and the rules by which mental ones stand. The system's own answers are left out.
"""

from dataclasses import dataclass, field

from playwright.sync_api import Locator, Page

K_DESK, P, H, M = 0.28, 1.10, 0.40, 1.35
"""Seconds: a key by an average non-secretary typist (40 words a minute), pointing, hands to another device, a mental operator."""
K_PHONE = 0.33
"""Seconds a letter on a phone, 36 words a minute: Palin et al., "How do People Type on Mobile Devices?", MobileHCI 2019; from
memory. The model of 1980 knows no phone: a tap is counted as pointing and a key, and hands move to no other device."""


@dataclass
class Counted:
    """Who taps and types on a page, and how often; seconds: by the model."""

    page: Page
    taps: int = 0
    typed: int = 0
    seconds: float = 0.0
    _keys: bool = field(default=False, repr=False)
    """The hands are on the keyboard."""
    _cell: str = field(default="", repr=False)
    """The unit of thought that was typed last, as gas of one place."""

    @property
    def phone(self) -> bool:
        """Whether it is a phone's page."""
        size = self.page.viewport_size
        return size is not None and size["width"] < 700

    def tap(self, what: str | Locator) -> None:
        """M P K, and H before it where the hands were on the keyboard."""
        self._found(what).click()
        self.tapped()

    def tapped(self) -> None:
        """Counts a tap that was done."""
        self.taps += 1
        self.seconds += M + P + self._key + self._homed(False)

    def fill(self, what: str | Locator, text: str, *, unit: str = "") -> None:
        """A field typed: the first by pointing, each further one reached by Tab (on a phone: Next); M once a unit of thought, that is
        what is read off together. unit: its name; without one the field is thought of by itself."""
        self._found(what).fill(text)
        self.filled(text, unit=unit)

    def filled(self, text: str, *, unit: str = "") -> None:
        """Counts a field that was typed."""
        reached = self._key if self._keys else P + self._key + self._homed(True)
        thought = 0.0 if unit and unit == self._cell else M
        self.typed += 1
        self.seconds += reached + thought + self._strokes(text) * self._key
        self._keys, self._cell = True, unit

    def passed(self) -> None:
        """A field that stays as it is: looked at, and left by Tab."""
        self.seconds += self._key + (0.0 if self._keys else P + self._key + self._homed(True))
        self._keys = True

    def say(self, task: str, most_taps: int, most_typed: int, *, within: float | None = None) -> None:
        """Prints the line of the task, and holds it to its figures."""
        size = "phone" if self.phone else "desk"
        print(f"\n| {task}, {size} | {self.taps} | {self.typed} | {self.seconds:.0f} s |")
        assert self.taps <= most_taps, (task, self.taps)
        assert self.typed <= most_typed, (task, self.typed)
        assert within is None or self.seconds < within, (task, self.seconds)

    def _found(self, what: str | Locator) -> Locator:
        return self.page.locator(what).first if isinstance(what, str) else what

    @property
    def _key(self) -> float:
        return K_PHONE if self.phone else K_DESK

    def _homed(self, keys: bool) -> float:
        moved = self._keys is not keys and not self.phone
        self._keys = keys
        self._cell = self._cell if keys else ""
        return H if moved else 0.0

    @staticmethod
    def _strokes(text: str) -> int:
        """Keys: a capital or a sign of the upper row is two."""
        return sum(2 if one.isupper() or one in ':!"()?*+_' else 1 for one in text)
