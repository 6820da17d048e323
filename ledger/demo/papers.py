"""What the demonstration's workspace starts with: the firm file and the labels it works from."""

from __future__ import annotations

from importlib.resources import files

_LABELS = (
    "ridgeline-dust",
    "alder-dust",
    "ridgeline-sc",
    "marsh-gel",
    "tarn-aerosol",
    "cedar-granule",
    "granite-powder",
    "slate-powder",
    "hearth-mint",
)


def firm_file() -> str:
    """Return the text of the firm's ``useledger.toml``."""
    return (files(__package__) / "useledger.toml").read_text(encoding="utf-8")


def label_files() -> tuple[str, ...]:
    """Return the file names of the shipped labels that the firm keeps in its workspace."""
    return tuple(f"{label}.toml" for label in _LABELS)
