"""Pages are sent packed to whoever asks, and no two pages carry the token of their forms in the same letters."""

import re

from seed_fleet.ships import PLOVER
from tests.api.stage import Stage

PLANT = f"/plants/{PLOVER.key}-plant"


def _tokens(text: str) -> set[str]:
    return set(re.findall(r'name="csrf" value="([^"]+)"', text))


def test_a_page_is_packed_for_who_asks_alone(stage: Stage) -> None:
    """The same page to the letter, but for its token; less than a third of its bytes; caches are told."""
    browser = stage.enter("chief-plover")
    packed = browser.get(PLANT, headers={"Accept-Encoding": "gzip"})
    plain = browser.get(PLANT, headers={"Accept-Encoding": "identity"})
    none = browser.get(PLANT, headers={"Accept-Encoding": "gzip;q=0"})
    assert packed.headers["content-encoding"] == "gzip"
    assert "content-encoding" not in plain.headers
    assert "content-encoding" not in none.headers
    assert "Accept-Encoding" in plain.headers["vary"]
    assert int(packed.headers["content-length"]) * 3 < int(plain.headers["content-length"])

    def without(text: str) -> str:
        return re.sub(r'name="(csrf|idempotency_key)" value="[^"]+"', "", text)

    assert without(packed.text) == without(plain.text)


def test_each_page_has_its_token_in_other_letters_and_all_of_them_are_taken(stage: Stage) -> None:
    """Two pages of one session share no token as written; a form with either is taken, with a letter changed it is not."""
    browser = stage.enter("chief-plover")
    one, two = (_tokens(browser.get(PLANT).text) for _ in range(2))
    assert one
    assert two
    assert not one & two
    for token in (*one, *two):
        assert browser.post("/light", data={"csrf": token, "light": "night"}).status_code == 303
        wrong = ("B" if token[0] == "A" else "A") + token[1:]
        again = {"csrf": wrong, "idempotency_key": "k", "name": "knife set", "aboard": "2"}
        assert browser.post(f"{PLANT}/parts", data=again).status_code == 403
        assert browser.post(f"{PLANT}/parts", data={**again, "csrf": token[:-4]}).status_code == 403
        assert browser.post(f"{PLANT}/parts", data={**again, "csrf": token}).status_code == 303
