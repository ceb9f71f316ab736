"""The fields of a form, as people type them."""

from collections.abc import Callable, Mapping
from datetime import date, datetime, time
from typing import TypeVar

from scheduler.errors import Refused
from scheduler.parsing import Unreadable, field_date, field_time, figure, ship_instant, whole
from scheduler.wording.faults import unreadable_words

_T = TypeVar("_T")


class Fields:
    """The fields of a form, read one by one; what cannot be read is gathered, and refused at once by `check`.

    Args:
        values: as typed, by the name of the field; `utc_offset_minutes` is that which the form was shown with.
        clock: the ship's now, see `ship_instant`.
    """

    def __init__(self, values: Mapping[str, str], clock: int | None = None) -> None:
        self.values, self.clock = values, clock
        self.faults: list[tuple[str, str]] = []

    def text(self, name: str, most: int = 1000) -> str:
        """What stands in a field, at most so many letters."""
        return self.values.get(name, "").strip()[:most]

    def fault(self, name: str, wrong: str | Unreadable) -> None:
        """Something is wrong with a field."""
        self.faults.append((f"/{name}", unreadable_words(wrong) if isinstance(wrong, Unreadable) else wrong))

    def figure(self, name: str, *, empty: str = "") -> float | None:
        """A figure. empty: what is wrong when nothing was typed; without it the field may be empty."""
        return self._read(name, figure, empty)

    def figures(self, name: str) -> list[float]:
        """Figures with spaces between them."""
        try:
            return [found for one in self.values.get(name, "").split() if (found := figure(one)) is not None]
        except Unreadable as error:
            self.fault(name, error)
            return []

    def whole(self, name: str, *, empty: str = "") -> int | None:
        """A whole number, 0 or more."""
        return self._read(name, whole, empty)

    def day(self, name: str, *, empty: str = "") -> date | None:
        """A date."""
        return self._read(name, field_date, empty)

    def time(self, name: str, *, empty: str = "") -> time | None:
        """A time of day."""
        return self._read(name, field_time, empty)

    def instant(self, name: str, *, needed: bool = True) -> datetime | None:
        """A date and time, ship time."""
        text = self.values.get(name, "")
        if not text.strip() and not needed:
            return None
        offset = self.values.get("utc_offset_minutes", "" if self.clock is None else str(int(self.clock)))
        try:
            return ship_instant(text, offset, self.clock)
        except Unreadable as error:
            self.fault(name, error)
            return None

    def check(self, says: str = "") -> None:
        """Raises Refused when something is wrong so far. says: the sentence as a whole; empty: the first fault."""
        if self.faults:
            pointer, fault = self.faults[0]
            raise Refused(says or f"{pointer.lstrip('/')}: {fault}", faults=self.faults)

    def _read(self, name: str, read: Callable[[str], _T | None], empty: str) -> _T | None:
        text = self.values.get(name, "")
        try:
            found = read(text)
        except Unreadable as error:
            self.fault(name, error)
            return None
        if found is None and empty:
            self.fault(name, empty)
        return found
