"""A small commented study to start from."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from reliability.schema.assumption_types import Assumption
from reliability.schema.assumptions import ASSUMPTION_TABLES, ASSUMPTIONS
from reliability.schema.free_tables import FREE_TABLES, LISTS
from reliability.schema.problems import Problem, StudyError
from reliability.study.folder import SETTINGS_FILE

# An invented feeder. A section's customers are those served from it, not from those below it.
SECTIONS_TEMPLATE = """\
section_id,parent_id,device,feeder_id,length_km,customers,load_kw,peak_load_a,phases,\
fault_current_source_a,fault_current_end_a,fuse_link,operations_to_lockout,fast_operations,tie_probability
main-1,,breaker,feeder-1,2.4,35,110,96,3,3900,2700,,4,2,
main-2,main-1,switch,feeder-1,3.1,48,140,61,3,2700,1800,,,,
main-3,main-2,recloser,feeder-1,3.8,52,150,33,3,1800,1200,,4,2,0.7
tap-01,main-1,fuse,feeder-1,1.9,64,180,24,1,2700,1650,65K,,,
tap-02,main-2,fuse,feeder-1,2.6,41,120,15,1,1800,1050,40K,,,
tap-02-north,tap-02,fuse,feeder-1,1.2,17,50,7,1,1050,790,25K,,,
tap-03,main-3,fuse,feeder-1,4.3,58,165,11,2,1200,680,40K,,,
tap-04,main-3,,feeder-1,0.8,9,25,,1,1200,980,,,,
"""

STUDY_HEAD = """\
# A study to start from. Replace sections.csv by your network and state what you know here.
# Every line that begins with # and a key shows the value that is used while the line stays as it is.
# A number you are not sure of: { low = …, likely = …, high = … }.
# Results are planning estimates, not device settings.

name = "A study to start from"
# currency = "USD"
"""

TAIL = """
# Scenarios. "As built" is always there, first, and needs no entry.
# laterals: "all", or a list of section ids at the heads of laterals.
# device: "sectionalizer", "lateral_recloser" or "fuse".
# counts: of a sectionalizer, below the operations to lockout of the device above it.
# fast_operations: set on every breaker and recloser; left out: as they are.
# applicable_only: true leaves a lateral that fails the application checks as it is; a range counts there with its mean.

[[scenarios]]
name = "Sectionalizers"
laterals = "all"
device = "sectionalizer"
counts = 2
# fast_operations = 2
# applicable_only = false

# Your own headers, where they differ from ours; ignore: headers of columns to ignore.
# [columns.sections]
# section_id = "Tap No"
# ignore = ["Remarks"]
"""


def write_template(folder: str | Path) -> None:
    """Write a small commented study into a new folder, whole or not at all.

    Raises StudyError where the folder holds something already or cannot be written.
    """
    target = Path(folder)
    try:
        if target.exists() and (not target.is_dir() or any(target.iterdir())):
            raise StudyError([Problem(str(folder), "there is something here already", "name a new folder")])
        target.absolute().parent.mkdir(parents=True, exist_ok=True)
        _write(target.absolute())
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a name for a folder"
        raise StudyError([Problem(str(folder), f"cannot be written ({reason})", "name another folder")]) from error


def _write(target: Path) -> None:
    made = Path(tempfile.mkdtemp(prefix=".new-", dir=target.parent))
    try:
        made.chmod(0o755)  # mkdtemp gives a folder that only its owner may read
        (made / SETTINGS_FILE).write_text(settings_text(), encoding="utf-8")
        (made / "sections.csv").write_text(SECTIONS_TEMPLATE, encoding="utf-8")
        if target.exists():
            target.rmdir()
        os.replace(made, target)
    except BaseException:
        shutil.rmtree(made, ignore_errors=True)
        raise


def settings_text() -> str:
    """study.toml with every table, each key commented out at its default under what it means."""
    tables = "\n".join(f"\n[{table}]\n" + "\n".join(_key(a) for a in ASSUMPTIONS if a.table == table) + _free(table)
                       for table in ASSUMPTION_TABLES)
    return f"{STUDY_HEAD}{tables}\n{TAIL}"


def _free(table: str) -> str:
    return "".join([*(f"\n# [{table}.{name}]  # {how}" for name, how in FREE_TABLES.get(table, {}).items()),
                    *(f"\n# [[{table}.{name}]]  # {how}" for name, how in LISTS.get(table, {}).items())])


def _key(a: Assumption) -> str:
    unit = f", {a.unit}" if a.unit else ""
    bounds = f", {a.low:g} to {a.high:g}" if a.low is not None and a.high is not None and a.high < 1e9 else ""
    choices = f" One of {', '.join(c or 'blank' for c in a.choices)}." if a.choices else ""
    return f"# {a.label}{unit}{bounds}. {a.help}{choices} ({a.source})\n# {a.key} = {toml_value(a.default)}"


def toml_value(value: object) -> str:
    """A default as study.toml would state it; an ellipsis where the default is to leave the key out."""
    if value is None:
        return "…"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    return str(value)
