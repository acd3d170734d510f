"""What the commands say on standard output and standard error, and where it goes when nobody can read it."""

from __future__ import annotations

import io
import os
import sys
from typing import TextIO

OUTPUT = "standard output"


def open_streams() -> None:
    """Have output go nowhere where there is no place for it, and letters that a terminal lacks be replaced."""
    sys.stdout, sys.stderr = sys.stdout or io.StringIO(), sys.stderr or io.StringIO()
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")  # a terminal's own letters may lack a dash or a narrow space


def tell(text: str) -> None:
    """Print to standard error; who has closed it is told nothing, and the command goes on."""
    try:
        print(text, file=sys.stderr, flush=True)
    except OSError:
        silence(sys.stderr)


def say(text: str) -> None:
    """Print to standard output. Raises BrokenPipeError where its reader has closed it, and OSError with OUTPUT for its
    file where there is no room for it; nothing is left to be written then."""
    try:
        print(text, flush=True)
    except OSError as error:
        silence(sys.stdout)
        if not isinstance(error, BrokenPipeError):
            error.filename = OUTPUT
        raise


def silence(stream: TextIO) -> None:
    """Have what is still to come go nowhere, what the stream holds already included."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
