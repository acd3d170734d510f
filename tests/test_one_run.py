"""A run reads each file once, and builds the network once and for each time at which protection was another."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from reliability.network import tree
from reliability.pipeline import analyse
from reliability.report.output import write_results
from reliability.study import open_study

STUDY = """name = "Once"
[faults]
rates = "learned"
[costs]
interruption_costs = "costs.csv"
[finance]
perspective = "society"
horizon_years = 2
[choice.laterals]
"tap-1" = "in"
[history]
records_from = 2020-01-01
records_to = 2023-12-31
[history.conversions]
"tap-2" = 2022-01-01
[[scenarios]]
name = "All"
device = "sectionalizer"
applicable_only = true
"""
FILES = {
    "study.toml": STUDY,
    "sections.csv": "section_id,parent_id,device,length_km,customers,load_kw\nmain,,breaker,5,10,100\n"
                    "tap-1,main,fuse,3,40,30\ntap-2,main,fuse,2,50,40\n",
    "outages.csv": "event_id,section_id,started,restored,customers\n" + "".join(
        f"e{k},tap-{k % 2 + 1},202{k % 4}-05-0{k % 8 + 1}T10:00,202{k % 4}-05-0{k % 8 + 1}T12:00,40\n"
        for k in range(16)),
    "costs.csv": "customer_class,momentary,min_30,h_1,h_4,h_8,h_16\nresidential,1,2,3,4,5,6\nsmall_ci,1,2,3,4,5,6\n"
                 "large_ci,1,2,3,4,5,9\n",
    "settings.csv": "section_id,element,operation,pickup_a,curve,time_dial\nmain,phase,fast,400,old unit,\n",
    "curves.csv": "curve,current_a,time_s\nold unit,400,0.5\nold unit,4000,0.05\n",
}


def test_each_file_is_read_once_and_each_network_built_once(tmp_path, monkeypatch):
    study = tmp_path / "study"
    study.mkdir()
    for name, text in FILES.items():
        (study / name).write_text(text)
    reads: Counter[str] = Counter()
    built: list[int] = []
    opened, ordered = Path.open, tree.depth_first

    def counting_open(path, *arguments, **named):
        if path.parent == study:
            reads[path.name] += 1
        return opened(path, *arguments, **named)

    def counting_order(parent_row):
        built.append(len(parent_row))
        return ordered(parent_row)

    monkeypatch.setattr(Path, "open", counting_open)
    monkeypatch.setattr(tree, "depth_first", counting_order)
    write_results(analyse(open_study(study), trials=2), tmp_path / "out")
    assert reads == dict.fromkeys(FILES, 1)
    assert built == [3, 3]      # as it is, and with the device of today at tap-2, which the sections do not show yet
