"""Where the shipped tables and templates are, installed or in a checkout."""

from pathlib import Path


def shipped(folder: str) -> Path:
    """Return the folder `cropdata` or `templates`, inside the wheel or in a checkout."""
    here = Path(__file__).resolve().parent
    for base in (here, here.parent):
        if (base / folder).is_dir():
            return base / folder
    raise FileNotFoundError(f"{folder}/ is missing from the installation at {here}")
