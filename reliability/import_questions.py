"""How far each answer to the questions after an import moves SAIFI, SAIDI and the worth of converting everything."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from reliability.intake import Imported
from reliability.intake.questions import ALL_QUESTIONS, FUSE_FACTOR, Option, Question
from reliability.intake.settings import with_settings
from reliability.network.conversions import named_heads
from reliability.network.forest import sums_below
from reliability.network.fuse_links import link_table
from reliability.network.tree import build_network
from reliability.schema.assumptions import BY_KEY
from reliability.schema.devices import FUSE, SECTIONALIZER
from reliability.schema.problems import Problem, StudyError
from reliability.schema.scenarios import UNCHANGED, Scenario
from reliability.study import Study
from reliability.what_if import ScenarioResults, compute, moved_study

ALL_CONVERTED = Scenario("All laterals sectionalized", None, SECTIONALIZER)
_SOURCE_A = 3000.0      # our choice, for showing what unknown currents may hide
EFFECT_COLUMNS = ("question", "option", "label", "default", "saifi", "saidi_min", "npv", "saifi_change", "saidi_change",
                  "npv_change")


@dataclass(frozen=True)
class Base:
    """A study as imported, with the default answers. results: as built and with everything converted."""

    study: Study
    results: ScenarioResults


def base_of(study: Study) -> Base:
    """The state that answers are compared with."""
    study = replace(study, scenarios=(UNCHANGED, ALL_CONVERTED))
    return Base(study, compute(study, "import"))


def effects(base: Base, questions: Sequence[Question], on_progress: Callable[[int, int], None] = lambda done,
            total: None
            ) -> pd.DataFrame:
    """A row an option of each question, columns EFFECT_COLUMNS: SAIFI (1/yr) and SAIDI (min/yr) as built, NPV of
    converting everything (the study's currency and perspective), and how far each moves from the question's default."""
    total, rows = sum(len(q.options) for q in questions), []
    for question in questions:
        first: tuple[float, float, float] | None = None
        for option in question.options:
            figures = _figures(base, option)
            first = first or figures
            changes = [now - before for now, before in zip(figures, first, strict=True)]
            rows.append((question.key, option.key, option.label, option is question.default, *figures, *changes))
            on_progress(len(rows), total)
    return pd.DataFrame(rows, columns=list(EFFECT_COLUMNS))


def answered_study(base: Base, option: Option) -> Study:
    """The study with one answer. Keys of the records, which the model does not read, change nothing."""
    moves = {key: value for values in option.values.values() for key, value in values.items()
             if key in BY_KEY and BY_KEY[key].table not in ("records", "history")}
    study = moved_study(base.study, moves, base.results) if moves else base.study
    return _COLUMNS[option.columns](study) if option.columns else study


def _figures(base: Base, option: Option) -> tuple[float, float, float]:
    """SAIFI, SAIDI (min) as built and the NPV of converting everything under one answer."""
    study = answered_study(base, option)
    # what was computed for the same sections can serve again; other sections have other outcomes
    like = () if option.columns else (base.results,)
    now = base.results if study is base.study else compute(study, f"import {option.key}", like)
    indices = now.indices[0]
    at = now.names.index(ALL_CONVERTED.name)
    none = float("nan")
    return (none if indices["saifi"] is None else float(indices["saifi"]),
            none if indices["saidi_min"] is None else float(indices["saidi_min"]), float(now.money[at]["npv"]))


def _with_ties(chance: float) -> Callable[[Study], Study]:
    """The chance of every tie for which the exports state none."""
    def change(study: Study) -> Study:
        sections = study.sections.copy()
        stated = np.nan_to_num(sections["tie_probability"].to_numpy(dtype=float)) > 0.0
        open_ = (sections["tie_section_id"] != "").to_numpy(bool) & ~stated
        sections["tie_probability"] = np.where(open_, chance, sections["tie_probability"])
        return _rebuilt(study, sections)
    return change


def _high_currents(study: Study) -> Study:
    """Currents of 3000 A at the sources that halve towards the farthest section, where none are stated."""
    network = study.network
    depth = np.zeros(len(network))
    for i in range(len(network)):
        depth[i] = depth[network.parent[i]] + 1 if network.parent[i] >= 0 else 0
    deepest = max(float(depth.max()), 1.0)
    source, end = (_SOURCE_A / (1 + d / deepest) for d in (depth, np.minimum(depth + 1, deepest)))
    column = network.column
    unknown = np.isnan(column["fault_current_source_a"])
    return study.with_section_values({
        "fault_current_source_a": np.where(unknown, source, column["fault_current_source_a"]),
        "fault_current_end_a": np.where(unknown, end, column["fault_current_end_a"])})


def links_by_load(study: Study) -> pd.Series:
    """A link of type K for each fuse without one, by section_id: the smallest whose rating is at least FUSE_FACTOR
    times
    the full-load current of the transformers beyond it, line to neutral of `system_kv` by phase; the largest where none
    is enough, and none where no transformers are known."""
    network, sections = study.network, study.sections
    kva = np.nan_to_num(sections["connected_kva"].to_numpy(float))[network.row]
    beyond = sums_below(kva, network.size)
    kv = np.nan_to_num(sections["system_kv"].to_numpy(float)[network.row], nan=float(study.values["system_kv"]))
    amperes = beyond / (sections["phases"].to_numpy(float)[network.row] * kv / np.sqrt(3.0))
    table = link_table()
    ratings = np.sort(table.loc[table["speed"] == "K", "rating_a"].astype(float).unique())
    chosen = ratings[np.minimum(np.searchsorted(ratings, FUSE_FACTOR * amperes), len(ratings) - 1)]
    fuses = (sections["device"].to_numpy(object)[network.row] == FUSE) & (beyond > 0)
    fuses &= sections["fuse_link"].to_numpy(object)[network.row] == ""
    return pd.Series([f"{r:g}K" for r in chosen[fuses]], index=network.ids[fuses].astype(str), dtype=object)


def _with_links(study: Study) -> Study:
    links = links_by_load(study)
    sections = study.sections.copy()
    sections["fuse_link"] = [links.get(name, link) for name, link in
                             zip(sections["section_id"], sections["fuse_link"], strict=True)]
    return _rebuilt(study, sections)


def _rebuilt(study: Study, sections: pd.DataFrame) -> Study:
    return replace(study, sections=sections, network=build_network(sections, settings=study.settings,
                                                                   curves=study.curves))


_COLUMNS: dict[str, Callable[[Study], Study]] = {
    "ties_half": _with_ties(0.5), "ties_all": _with_ties(1.0), "currents_high": _high_currents,
    "links_by_load": _with_links,
}


def laterals_converted(study: Study) -> int:
    """How many laterals converting everything would convert."""
    return len(named_heads(study.network, ALL_CONVERTED))


# What an answer that is no key of study.toml writes into sections.csv. Assumed fault currents are shown by their effect
# alone: written, they would let devices pass checks of which nothing is known.
_WRITTEN = {"ties_half": ("tie_probability",), "ties_all": ("tie_probability",), "links_by_load": ("fuse_link",)}


def answered(imported: Imported, chosen: Mapping[str, str], study: Study | None = None) -> Imported:
    """The import with answers written into its settings, its sections and its recipe.

    chosen: key of the question → key of the option. study: the import's own, opened, where that is at hand. Raises
    StudyError for a question or an option that there is not.
    """
    options = [_option(question, option) for question, option in chosen.items()]
    answers_: dict[str, dict[str, Any]] = {}
    for option in options:
        for table, values in option.values.items():
            answers_.setdefault(table, {}).update(values)
    in_columns = {q: o for q, o in chosen.items() if _option(q, o).columns in _WRITTEN}
    tables = dict(imported.tables)
    if in_columns:
        study = imported.study() if study is None else study
        sections = tables["sections"].copy()
        for option in (o for o in options if o.columns in _WRITTEN):
            theirs = _COLUMNS[option.columns](study).sections.set_index("section_id")
            before = study.sections.set_index("section_id")
            for column in _WRITTEN[option.columns]:
                now, was = (of[column].reindex(sections["section_id"]).to_numpy(object) for of in (theirs, before))
                differs = (now != was) & ~(pd.isna(now) & pd.isna(was))
                if differs.any():               # other cells stay as they are, blanks among them
                    cells = sections[column] if column in sections else pd.Series(np.nan, sections.index)
                    sections[column] = cells.astype(object).where(~differs, now).infer_objects()
        tables["sections"] = sections
    recipe = replace(imported.recipe, study=_merged(imported.recipe.study, answers_),
                     questions={**imported.recipe.questions, **in_columns})
    return replace(imported, tables=tables, settings=with_settings(imported.settings, answers_), recipe=recipe)


def _option(question: str, option: str) -> Option:
    found = next((q.option(option) for q in ALL_QUESTIONS if q.key == question), None)
    if found is None:
        raise StudyError([Problem("import.toml", "not an answer to one of the questions", "name one of " + ", ".join(
            f"{q.key} = \"{o.key}\"" for q in ALL_QUESTIONS for o in q.options), None, f"questions.{question}",
                                  option)])
    return found


def _merged(before: Mapping[str, Any], more: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    return {**before, **{table: {**before.get(table, {}), **values} for table, values in more.items()}}
