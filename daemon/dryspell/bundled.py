"""Finds the files that come with the program: the coating families and the demo scenario."""

from pathlib import Path


def bundled(name: str) -> Path:
    """Return the path of a bundled file: inside an installed package, or in the checkout's config/ folder."""
    inside = Path(__file__).parent / "bundled"
    folder = inside if inside.is_dir() else Path(__file__).resolve().parents[2] / "config"
    return folder / name
