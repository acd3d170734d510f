"""How far a simulation is, and how long it may still take."""

from __future__ import annotations

import time
from collections.abc import Callable

Progress = Callable[[int, int, float], None]    # trials done, trials in all, seconds left


class Reporter:
    """Turns blocks done into trials done and time left."""

    def __init__(self, on_progress: Progress | None, trials: int):
        self.on_progress, self.trials, self.finished, self.begun = on_progress, trials, 0.0, time.monotonic()
        self.per_block = 0.0

    def start(self, blocks: int, trials: int) -> None:
        """So many trials come in so many blocks."""
        self.per_block = trials / max(blocks, 1)

    def block_done(self) -> None:
        """One more block."""
        self.finished = min(self.finished + self.per_block, self.trials)
        if self.on_progress:
            spent = time.monotonic() - self.begun
            self.on_progress(round(self.finished), self.trials, spent * (self.trials / self.finished - 1.0))
