"""What is said of a configuration that was changed while the daemon runs, in words. Pure."""

from dryspell.alerts.kinds import ConfigKind

SHOWN = 3
"""So many problems are told; `dryspell check` has the others."""


def compose_config(kind: ConfigKind, problem: str, notice_id: str) -> tuple[str, str]:
    """Return title and body.

    Parameters
    ----------
    problem
        What is wrong, a line each; empty where it is taken.
    notice_id
        Stands in the last line of the body.
    """
    if kind is ConfigKind.TAKEN:
        return "Configuration taken", f"The changed configuration is good and is gone by now.\n[{notice_id}]"
    problems = problem.splitlines()
    more = f"and {len(problems) - SHOWN} more: `dryspell check` tells." if len(problems) > SHOWN else ""
    lines = ["dryspell goes on with the last good one.", *problems[:SHOWN], more, f"[{notice_id}]"]
    return "The changed configuration has a fault", "\n".join(filter(None, lines))
