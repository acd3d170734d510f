"""The app's server killed while it saves: the study before the change or after it, never half of it, nothing told lost.

FAULT_REPEATS=100 in the environment kills it that many times instead of twice.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from reliability.study import open_study
from reliability.study.archive import ARCHIVE
from reliability.study.save import fingerprint, versions
from tests.server import Server, Tab

REPEATS = int(os.environ.get("FAULT_REPEATS", "2"))
WRITE, SAVED = "Write these values into the study", "written into the study"
FACTORS = (1.25, 0.8)               # moves of a slider, one after the other, that leave the study as it was
LATEST = 0.4                        # seconds after the button: a save begins after some 0.05 and takes some 0.1
SECTIONS = "section_id,parent_id,device,length_km,customers,line_fault_rate_per_km\n"

pytestmark = pytest.mark.slow


@pytest.fixture
def server(tmp_path) -> Iterator[Server]:
    """A server whose workspace has a study that states its fault rate in both of its files."""
    folder = tmp_path / "workspace" / "small"
    folder.mkdir(parents=True)
    (folder / "study.toml").write_text(
        'name = "small"\n[faults]\nline_fault_rate_per_km = 0.2\n[simulation]\ntrials = 3\n', encoding="utf-8")
    (folder / "sections.csv").write_text(SECTIONS + "main,,breaker,1,5,0.2\ntap,main,fuse,1,9,0.2\n", encoding="utf-8")
    server = Server(folder.parent)
    yield server
    server.stop(kill=True)


def rates(folder: Path) -> set[float]:
    """The rates that the files of the study state."""
    study = open_study(folder)
    stated = [study.values["line_fault_rate_per_km"], *study.sections["line_fault_rate_per_km"]]
    return {round(float(rate), 9) for rate in stated}


def test_a_server_killed_while_it_saves_leaves_the_old_study_or_the_new_one(server):
    folder = server.workspace / "small"
    outcomes = []
    for moment in np.random.default_rng(2).uniform(0.0, LATEST, REPEATS):
        (before,) = rates(folder)
        factor, stored = FACTORS[before > 0.2], len(versions(folder))
        server.start()
        with Tab(server, "compare", study="small", sliders=f"fault_rate_factor:{factor}") as tab:
            tab.run()
            tab.send(WRITE)
            begun = time.monotonic()
            tab.finish(moment)
            time.sleep(max(moment + begun - time.monotonic(), 0.0))
            server.stop(kill=True)
        told = any(SAVED in text for text in tab.texts)
        half = [f.name for f in (folder / ARCHIVE).glob("*") if f.name.startswith(("staged", "pending"))]
        (after,) = rates(folder)
        outcomes.append((after != before, told, *half))
        assert after in (before, round(before * factor, 9))
        assert after != before or not told
        assert len(versions(folder)) - stored in ((1,) if after != before else (0, 1))
        assert fingerprint(folder)
    assert REPEATS < 20 or len({saved for saved, *_ in outcomes}) == 2, outcomes     # both came about
