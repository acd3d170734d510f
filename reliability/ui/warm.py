"""What the first page needs, made by the server while the browser that asks for it still starts."""

from __future__ import annotations

import contextlib
import gc
import importlib
import threading
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reliability.what_if import ScenarioResults

# the first page, which loads nearly all of the others, and what chooses the laterals that it shows
NEEDED = ("reliability.ui.overview_page", "scipy.optimize")
# what the other pages need beside that, while somebody reads the first
LATER = ("pandas.io.formats.style", "scipy.stats", "reliability.ui.choice_page", "reliability.ui.laterals_page",
         "reliability.ui.compare_page", "reliability.ui.history_page")
PAUSE_SECONDS = 0.3             # between two of these, so that a page does not wait for all of them
READING_SECONDS = 4.0           # after the first of all
LONGEST_SECONDS = 60.0          # that a page waits for what is needed to be loaded

_loaded = threading.Event()
_loaded.set()                   # nothing is being loaded


def begin() -> threading.Thread:
    """Load it beside the server's own start."""
    _loaded.clear()
    thread = threading.Thread(target=_load, name="warm", daemon=True)
    thread.start()
    return thread


def wait() -> None:
    """Wait until what every page needs is loaded: two threads that load it in different orders can each hold what the
    other waits for, which Python ends with an error in one of them."""
    _loaded.wait(LONGEST_SECONDS)


def _load() -> None:
    gc.disable()
    try:
        try:
            for name in NEEDED:
                importlib.import_module(name)
            _leave_out_a_warning()
        finally:
            _loaded.set()
        open_study()
    finally:
        _leave_out_of_searches()
    time.sleep(READING_SECONDS)
    for name in LATER:
        importlib.import_module(name)
        time.sleep(PAUSE_SECONDS)
    _leave_out_of_searches()


def _leave_out_a_warning() -> None:
    """Have the framework's first element not look whether somebody types it into Python's prompt, to warn of that: it
    looks at the file of every module that is loaded, 0.3 s while rates are learned."""
    from streamlit import delta_generator
    delta_generator._use_warning_has_been_displayed = True


def _leave_out_of_searches() -> None:
    """Have no search for garbage look at what is loaded by now.

    The framework searches after every run of a page, which holds up the next one: 0.1 s over all that is loaded.
    """
    gc.freeze()
    gc.enable()


def open_study(name: str = "") -> ScenarioResults | None:
    """Have the results of a study at hand, "" for that which is shown where nobody asks for one.

    None where there are none; the page says what is wrong with it.
    """
    from reliability.study import workspace
    from reliability.study.save import ChangedElsewhere
    from reliability.ui import opened
    from reliability.ui.scenario_results import stated_results
    with contextlib.suppress(ChangedElsewhere, OSError, KeyError):
        shown = opened.named(name if name in workspace.studies() else workspace.DEMO)
        if shown.ready is not None:
            return stated_results(shown.ready, shown.fingerprint)
    return None
