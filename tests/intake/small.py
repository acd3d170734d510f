"""A small network as exports, to break in one place at a time."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from reliability.intake import NO_RECIPE, Exports, Imported, Recipe, import_exports, prepare
from reliability.intake.deciding import accepted_as_shown, suggested

SEGMENTS = """segment_id,from_node,to_node,length_m,phases,normal_state,feeder_id
M1,BUS,N1,1000,ABC,,F1
M2,N1,N2,2000,ABC,,F1
T1,N1,N3,500,A,,F1
T2,N3,N4,300,A,,F1
"""
DEVICES = """device_id,segment_id,node_id,device,fuse_link,normal_state,phases
B1,M1,,breaker,,,
FU1,T1,,fuse,40K,,A
"""
CUSTOMERS = """transformer_id,segment_id,node_id,pole_id,customers,load_kw,connected_kva
X1,M2,,,10,20,50
X2,,N4,,5,8,25
"""
SOURCES = "node_id,feeder_id\nBUS,F1\n"
OUTAGES = """event_id,device_id,segment_id,transformer_id,feeder_id,started,restored,customers,cause,planned
E1,FU1,,,,2024-05-01T10:00:00,2024-05-01T12:00:00,5,tree,false
E2,,M2,,,2024-06-01T10:00:00,2024-06-01T11:00:00,10,wind,false
E3,,,X2,,2024-06-02T10:00:00,2024-06-02T11:00:00,1,animal,false
"""
TABLES = {"segments": SEGMENTS, "devices": DEVICES, "customers": CUSTOMERS, "sources": SOURCES, "outages": OUTAGES}


def write(folder: Path, **texts: str | None) -> Path:
    """The small exports with some tables replaced, longer by rows (a text that begins with a +), or left out (None)."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in TABLES.items():
        new = texts.get(name, text)
        if new is not None:
            (folder / f"{name}.csv").write_text(text + new[1:] if new.startswith("+") else new, encoding="utf-8")
    for name, new in texts.items():
        if name not in TABLES and new is not None:
            (folder / name.replace("__", ".")).write_text(new, encoding="utf-8")
    return folder


def take(folder: Path, recipe: Recipe = NO_RECIPE, **texts: str | None) -> Imported:
    """The small exports, changed, imported."""
    return import_exports(write(folder, **texts), recipe)


def sections(imported: Imported) -> pd.DataFrame:
    """Sections by their id."""
    return imported.tables["sections"].set_index("section_id")


def accepted(exports: Exports, recipe: Recipe) -> Recipe:
    """The recipe with every suggestion taken: kinds bring columns, and columns bring words."""
    for _ in range(4):
        prepared = prepare(exports, recipe)
        if not suggested(prepared):
            break
        recipe = accepted_as_shown(prepared)
    return recipe
