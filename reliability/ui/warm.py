"""What the first page needs, loaded by the server while the browser that asks for it still starts."""

from __future__ import annotations

import importlib
import threading

# the first page, which loads nearly all of the others, and what chooses the laterals that it shows
NEEDED = ("reliability.ui.overview_page", "scipy.optimize")


def begin() -> threading.Thread:
    """Load it beside the server's own start; a page that comes sooner waits for what it needs."""
    thread = threading.Thread(target=_load, name="warm", daemon=True)
    thread.start()
    return thread


def _load() -> None:
    for name in NEEDED:
        importlib.import_module(name)
