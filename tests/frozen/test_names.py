"""Addresses, methods and commands by which others reach the program are all still there."""

from tests.frozen import doors
from tests.frozen.kept import load
from tests.frozen.names import names_of_today


def test_every_door_is_where_it_was() -> None:
    """API, pages, calendars and service doors, by method and path; new ones may come."""
    gone = set(load("names.json")["doors"]) - set(names_of_today()["doors"])
    assert not gone, sorted(gone)


def test_every_command_takes_the_words_it_took() -> None:
    """Each `leadline` command with its options and arguments; new ones may come."""
    kept, now = load("names.json")["commands"], names_of_today()["commands"]
    gone = [f"{words} {name}" for words in kept for name in kept[words] if name not in now.get(words, ())]
    assert not gone + sorted(kept.keys() - now.keys())


def test_every_command_says_what_it_is_for() -> None:
    """By `--help`, and ends well."""
    for words in load("names.json")["commands"]:
        told = doors.leadline(*words.split()[1:], "--help")
        assert (told.returncode, words in told.stdout) == (0, True), words
