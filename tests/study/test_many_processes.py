"""Several processes at one study: no save is lost, nothing is read amid a change, pins and versions are all there.

FAULT_REPEATS=100 in the environment makes it a thousand saves, and a hundred pins, instead of a few.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from reliability.study import open_study
from reliability.study.pins import MAX_PINS, read_pins
from reliability.study.save import ARCHIVE, read_inputs, versions

ROOT = Path(__file__).parents[2]
REPEATS = int(os.environ.get("FAULT_REPEATS", "6"))
PROCESSES = 4
HEADER = "section_id,parent_id,device,length_km,customers\n"

WORKING = """
import sys
from dataclasses import dataclass
from pathlib import Path
from reliability.study.pins import add_pin
from reliability.study.save import ChangedElsewhere, fingerprint, read_inputs, save
folder, saves, pins = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
print("ready", flush=True)
sys.stdin.readline()
while saves:
    seen, inputs = fingerprint(folder), read_inputs(folder)
    number = int(inputs["study.toml"].rpartition(b" ")[2]) + 1
    sections = inputs["sections.csv"].rpartition(b",")[0] + b",%d" % number
    try:
        save(folder, {"study.toml": b'name = "many"  # %d' % number, "sections.csv": sections}, seen=seen)
        saves -= 1
    except ChangedElsewhere:
        pass
    if pins > 0:
        add_pin(folder, {"counts": pins}, {}, sys.argv[4])
        pins -= 1
"""


@dataclass(frozen=True)
class Worked:
    """A study on which the processes have worked, and the numbers read meanwhile: of its files, of it opened."""

    folder: Path
    saves: int
    pins: int
    read: list[set[int]]
    opened: list[int]


@pytest.fixture(scope="module")
def worked(tmp_path_factory) -> Worked:
    """A study of two files that hold the same number, of changes made, changed by all processes at once."""
    folder = tmp_path_factory.mktemp("many") / "study"
    folder.mkdir()
    (folder / "study.toml").write_text('name = "many"  # 0', encoding="utf-8")
    (folder / "sections.csv").write_text(HEADER + "main,,breaker,1,0", encoding="utf-8")
    saves, pins = max(10 * REPEATS // PROCESSES, 1), min(REPEATS, MAX_PINS // PROCESSES)
    processes = [subprocess.Popen([sys.executable, "-c", WORKING, folder, str(saves), str(pins), str(k)], cwd=ROOT,
                                  stdin=subprocess.PIPE, stdout=subprocess.PIPE) for k in range(PROCESSES)]
    for process in processes:
        assert process.stdout.readline() == b"ready\n"
        process.stdout.close()
    for process in processes:
        process.stdin.write(b"go\n")
        process.stdin.close()
    read, opened = [], []
    while any(p.poll() is None for p in processes):
        read.append(numbers(read_inputs(folder)))
        opened.append(int(open_study(folder).sections["customers"].iloc[0]))
    assert [p.wait() for p in processes] == [0] * PROCESSES
    return Worked(folder, PROCESSES * saves, pins, read, opened)


def numbers(files: dict[str, bytes]) -> set[int]:
    """The numbers that the files of one state hold."""
    return {int(files["study.toml"].rpartition(b" ")[2]), int(files["sections.csv"].rpartition(b",")[2])}


def test_of_many_saves_none_is_lost(worked):
    assert numbers(read_inputs(worked.folder)) == {worked.saves}
    assert [numbers(v.files) for v in versions(worked.folder)] == [{k} for k in reversed(range(worked.saves))]
    archive = worked.folder / ARCHIVE
    assert not [f.name for f in archive.iterdir() if f.name.startswith(("staged", "pending", ".draft"))]


def test_nothing_is_read_amid_a_change(worked):
    assert worked.read
    assert all(len(found) == 1 for found in worked.read)
    in_turn = [n for (files,), study in zip(worked.read, worked.opened, strict=True) for n in (files, study)]
    assert in_turn == sorted(in_turn)


def test_of_many_pins_none_is_lost(worked):
    pins = read_pins(worked.folder)
    assert sorted((int(p["inputs_sha256"]), p["moves"]["counts"]) for p in pins) == [
        (k, n) for k in range(PROCESSES) for n in range(1, worked.pins + 1)]
    assert len({p["when"] for p in pins}) == len(pins)
