"""Wrong PINs in a row, by person: four figures are few, so after ten of them the PIN is withdrawn, however slowly they come."""

from threading import Lock

MOST = 10
"""Wrong PINs in a row that withdraw it."""


class WrongPins:
    """Counts in memory; a restart begins anew, which nobody at a shared computer can bring about."""

    def __init__(self) -> None:
        self._counts: dict[str, int] = {}
        self._lock = Lock()

    def one_more(self, person_id: str) -> bool:
        """One more wrong PIN; whether that makes ten. Names are those of the crew: at most 1000 are counted at once."""
        with self._lock:
            if person_id not in self._counts and len(self._counts) >= 1000:
                self._counts.clear()
            count = self._counts.pop(person_id, 0) + 1
            if count < MOST:
                self._counts[person_id] = count
            return count >= MOST

    def right(self, person_id: str) -> None:
        """The person gave the right one: the count begins anew."""
        with self._lock:
            self._counts.pop(person_id, None)
