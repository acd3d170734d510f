"""Memory that is free within the process given back to the system."""

from __future__ import annotations

import ctypes
import sys


def give_back() -> None:
    """Give back what is free; by itself the C library keeps it, and copies of this process would hold it once more.

    Where the library has no such function nothing is done.
    """
    if sys.platform.startswith("linux"):
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
        if trim is not None:
            trim(0)
