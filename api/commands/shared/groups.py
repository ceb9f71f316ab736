"""The command itself and its groups, to which the modules of `api.commands` add their commands."""

from pathlib import Path
from typing import Annotated, Any

import typer

_SETTINGS: dict[str, Any] = {
    "context_settings": {"help_option_names": ["-h", "--help"], "max_content_width": 110},
    "rich_markup_mode": None,
    "no_args_is_help": True,
}

app = typer.Typer(
    help="Planned maintenance by running hours for a ship's vacuum plant.\n\nExample: leadline demo",
    pretty_exceptions_enable=False,
    **_SETTINGS,
)
chosen: dict[str, Any] = {}
"""What was given before the command's own words: `database`, `config` and `key_file`."""


def group(word: str, says: str, example: str, **more: Any) -> typer.Typer:
    """A group of commands under one word, with its help."""
    made = typer.Typer(help=f"{says}\n\nExample: leadline {example}", **_SETTINGS, **more)
    app.add_typer(made, name=word)
    return made


job_app = group("job", "Jobs.", "job done KEY --by NAME --test passed")


def _version(asked: bool) -> None:
    if asked:
        from scheduler.version import VERSION

        print(f"leadline {VERSION}")
        raise typer.Exit


@app.callback()
def common(
    database: Annotated[str | None, typer.Option(help="SQLite file or postgresql://... address")] = None,
    config: Annotated[Path | None, typer.Option(help="settings file (TOML)")] = None,
    key_file: Annotated[
        Path | None,
        typer.Option(
            envvar="LEADLINE_KEY_FILE", help="file with your own key: what takes a person is done in your name"
        ),
    ] = None,
    version: Annotated[  # noqa: ARG001
        bool, typer.Option("--version", callback=_version, is_eager=True, help="say it, and end")
    ] = False,
) -> None:
    """Planned maintenance by running hours for a ship's vacuum plant.

    Example: leadline demo
    """
    chosen.update(database=database, config=config, key_file=key_file)
