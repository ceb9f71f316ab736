"""Settings: which source wins, what is refused and in which words, what is never shown."""

from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.errors import Refused, SettingFault
from scheduler.settings import Settings, load_settings
from scheduler.wording.faults import setting_words

NAMES = [spec.name for spec in fields(Settings)]


def refused(environment: dict[str, str], file: Path | None = None) -> str:
    """The words with which these are refused."""
    with pytest.raises((Refused, SettingFault)) as error:
        load_settings(environment=environment, file=file)
    return setting_words(error.value) if isinstance(error.value, SettingFault) else error.value.says


def test_without_anything_all_is_default() -> None:
    """Defaults, and an origin for each."""
    loaded = load_settings(environment={})
    assert loaded.settings == Settings()
    assert loaded.origin == dict.fromkeys(NAMES, "default")


@given(flag=st.booleans(), env=st.booleans(), file=st.booleans())
def test_flag_over_environment_over_file(
    tmp_path_factory: pytest.TempPathFactory, flag: bool, env: bool, file: bool
) -> None:
    """Whichever are given, the strongest wins and is named."""
    path = tmp_path_factory.getbasetemp() / "order.toml"
    path.write_text("port = 3\n" if file else "")
    loaded = load_settings({"port": 1 if flag else None}, {"LEADLINE_PORT": "2"} if env else {}, path)
    expected = 1 if flag else 2 if env else 3 if file else 8322
    assert loaded.settings.port == expected
    origin = {1: "command line", 2: "environment LEADLINE_PORT", 3: f"file {path}", 8322: "default"}[expected]
    assert loaded.origin["port"] == origin


@given(name=st.sampled_from(NAMES), at=st.integers(0, 40), letter=st.sampled_from("abcdefghijklmnopqrstuvwxyz"))
def test_a_misspelt_name_is_refused_and_the_right_one_suggested(name: str, at: int, letter: str) -> None:
    """One letter too many, anywhere: the error names the setting meant."""
    wrong = name[:at] + letter + name[at:]
    if wrong not in NAMES:
        says = refused({f"LEADLINE_{wrong.upper()}": "1"})
        assert f'Unknown setting "{wrong}"' in says
        assert f'Did you mean "{name}"?' in says


@pytest.mark.parametrize("name", ["LEADLINE_TEST_BENCH", "LEADLINE_KEY"])
def test_what_other_parts_read_is_no_setting(name: str) -> None:
    """The environment of tests and of the command line is let through."""
    assert load_settings({}, {name: "x"}).settings == Settings()


def test_a_name_like_none_lists_what_is_known(tmp_path: Path) -> None:
    """From a file too, nested or not."""
    (tmp_path / "x.toml").write_text("[server]\nport = 1\n")
    says = refused({}, tmp_path / "x.toml")
    assert f'Unknown setting "server" from file {tmp_path / "x.toml"}' in says
    assert all(name in says for name in NAMES)


@pytest.mark.parametrize("spec", [spec for spec in fields(Settings) if spec.type is int], ids=lambda spec: spec.name)
def test_every_number_has_bounds_that_hold(spec: object) -> None:
    """The bounds themselves pass, one beyond does not, and the message says what was expected."""
    name, meta = spec.name, spec.metadata  # type: ignore[attr-defined]
    key = f"LEADLINE_{name.upper()}"
    for bound, beyond in ((meta["least"], -1), (meta["most"], 1)):
        if bound is None:
            continue
        assert getattr(load_settings(environment={key: str(bound)}).settings, name) == bound
        says = refused({key: str(bound + beyond)})
        assert f'Setting {name} from environment {key} is "{bound + beyond}"; expected' in says
        assert str(bound) in says
    assert "a whole number" in refused({key: "1.5"})


@pytest.mark.parametrize(("word", "value"), [("true", True), ("No", False), ("1", True), ("0", False), ("YES", True)])
def test_true_and_false_in_several_words(word: str, value: bool) -> None:
    """In any case of letters; another word is refused."""
    assert load_settings(environment={"LEADLINE_FEED_GZIP": word}).settings.feed_gzip is value
    assert "true or false" in refused({"LEADLINE_FEED_GZIP": "maybe"})


def test_kinds_from_a_file_are_held_to_as_well(tmp_path: Path) -> None:
    """TOML has kinds of its own: a number for a text, a broken file, bytes that are no text."""
    path = tmp_path / "x.toml"
    for text, says in (("host = 5", "a text"), ("port = ", "not TOML"), ("port = true", "a whole number")):
        path.write_text(text)
        assert says in refused({}, path)
    path.write_bytes(b'host = "\xff"')
    assert "not TOML" in refused({}, path)
    assert "cannot be read" in refused({"LEADLINE_CONFIG": str(tmp_path / "gone.toml")})


def test_a_secret_comes_from_a_file_and_is_not_shown(tmp_path: Path) -> None:
    """The password in the database's address is hidden wherever settings are shown, an @ inside it too."""
    secret = tmp_path / "address"
    secret.write_text("postgresql://leadline:h@sh/y@office/ships\n")
    loaded = load_settings(environment={"LEADLINE_DATABASE_FILE": str(secret)})
    assert loaded.settings.database == "postgresql://leadline:h@sh/y@office/ships"
    shown = {name: (value, source) for name, value, source, _ in loaded.shown()}
    assert shown["database"] == ("postgresql://***@office/ships", "file named by LEADLINE_DATABASE_FILE")
    assert list(shown) == NAMES
    assert "cannot be read" in refused({"LEADLINE_DATABASE_FILE": str(tmp_path / "gone")})


def test_other_variables_of_the_environment_are_left_alone() -> None:
    """Names that are not ours do not matter; ours that are no settings are no typing errors."""
    environment = {"PORT": "1", "LEADLINE_SEED_KEYS": "{}", "LEADLINE_TEST_POSTGRES": "x"}
    assert load_settings(environment=environment).settings == Settings()


def test_every_setting_says_what_it_is() -> None:
    """One line each, so that `config show` is the manual."""
    for spec in fields(Settings):
        assert 10 < len(spec.metadata["says"]) < 100


@pytest.mark.parametrize("host", ["0.0.0.0", "::"])
def test_no_link_leads_to_every_address(host: str) -> None:
    """Listening on every address gives no address for links; asked for one, the words name the setting that gives it."""
    assert Settings(host=host).shown_base_url() == ""
    with pytest.raises(Refused, match="base_url"):
        Settings(host=host).must_have_base_url()
    assert Settings(host=host, base_url="http://leadline.lan/").must_have_base_url() == "http://leadline.lan"


@pytest.mark.parametrize(
    "address", ["leadline.lan:8322", "ftp://x", "http://", "http://0.0.0.0:8322", "http://[::]", "http://["]
)
def test_a_base_url_nobody_can_open_is_refused(address: str) -> None:
    """An address without http, without a host, or of every address is refused when the settings are read."""
    assert "base_url" in refused({"LEADLINE_BASE_URL": address})


@pytest.mark.parametrize(
    "address",
    ["https://ship.example/leadline", "http://a.lan/x/", "http://a.lan?x", "http://a.lan/#x", "http://a@b.lan"],
)
def test_a_base_url_below_a_path_is_refused_with_what_to_do(address: str) -> None:
    """No page would lead there; a slash alone behind the host is left off."""
    assert "server_name of its own" in refused({"LEADLINE_BASE_URL": address})
    assert Settings(base_url="https://ship.example/").shown_base_url() == "https://ship.example"


def test_only_proxies_named_by_address_are_believed() -> None:
    """A name or "*" would let anybody say where a request came from; the words say what is expected."""
    assert Settings(proxies="127.0.0.1, fd00::/64").named_proxies() == ["127.0.0.1", "fd00::/64"]
    for wrong in ("*", "localhost", "127.0.0.1/8"):
        assert "expected addresses or networks" in refused({"LEADLINE_PROXIES": wrong})
