"""Where the configuration and the state are when nobody says so: the places of the XDG base directory specification."""

from collections.abc import Mapping
from pathlib import Path

from dryspell.errors import ConfigError

CONFIG_NAME = "dryspell.toml"


def _home(env: Mapping[str, str]) -> Path:
    try:
        return Path(env["HOME"]) if env.get("HOME") else Path.home()
    except RuntimeError:
        return Path("/")  # a user without a home, as in a container


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:
        return True  # behind a folder that is closed to us: reading it says so


def _base(env: Mapping[str, str], name: str, default: str) -> Path:
    """Return a base directory; the specification has relative ones ignored."""
    named = Path(env.get(name, ""))
    return named if named.is_absolute() else _home(env) / default


def find_config(env: Mapping[str, str]) -> Path:
    """Return the configuration file: the one DRYSPELL_CONFIG names, else the first that is there.

    Raises
    ------
    ConfigError
        There is none; the message says where it was looked for.
    """
    if named := env.get("DRYSPELL_CONFIG"):
        return Path(named)
    folders = [_base(env, "XDG_CONFIG_HOME", ".config") / "dryspell", Path("/etc/dryspell")]
    places = [folder / CONFIG_NAME for folder in folders]
    for place in places:
        if _is_there(place):
            return place
    looked = " and ".join(str(place) for place in places)
    raise ConfigError([f"there is no configuration file; looked for {looked}; name another with --config FILE"])


def own_config(env: Mapping[str, str]) -> Path:
    """Return where a configuration is made that is for this user: where DRYSPELL_CONFIG says, else the XDG place."""
    if named := env.get("DRYSPELL_CONFIG"):
        return Path(named)
    return _base(env, "XDG_CONFIG_HOME", ".config") / "dryspell" / CONFIG_NAME


def state_folder(written: Path | None, env: Mapping[str, str]) -> Path:
    """Return the folder of the state: DRYSPELL_STATE, else what the configuration says, else the XDG place.

    The environment comes first so that a container keeps its state on its volume whatever configuration it is given.
    """
    if named := env.get("DRYSPELL_STATE"):
        return Path(named).absolute()
    return written or _base(env, "XDG_STATE_HOME", ".local/state") / "dryspell"


def resolve(text: str, folder: Path, env: Mapping[str, str]) -> Path:
    """Return a path as a configuration writes it: `~` is the home folder, and a relative one starts at `folder`."""
    if text == "~" or text.startswith("~/"):
        return _home(env) / text[2:]
    return folder / text
