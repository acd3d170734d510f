"""The command `import`: a study of exports, or a recipe to be filled in."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from reliability.formats import count
from reliability.intake import NO_RECIPE, Imported, Prepared, import_study, prepare, read_exports, read_recipe
from reliability.intake.decisions import Undecided
from reliability.intake.notes import notes, unlisted
from reliability.intake.offered import offered_recipe
from reliability.intake.reading import RECIPE_FILE
from reliability.report.import_report import report_files, report_outline
from reliability.schema.problems import Problem, StudyError
from reliability.streams import say
from reliability.study import Study
from reliability.study.tables import read_bytes

Tell = Callable[[str], None]


def import_or_offer(exports: str, out: str | None, recipe_file: str | None, recipe_out: str | None, tell: Tell) -> None:
    """Make a study in the new folder `out`, or write a recipe to be filled in to the new file `recipe_out`.

    recipe_file: the decisions of an earlier import. tell: called with what goes on and what is noticed. Raises
    StudyError, with nothing written, where something is open, wrong or there already.
    """
    _require_new(out, recipe_out)
    recipe = NO_RECIPE if recipe_file is None else read_recipe(read_bytes(Path(recipe_file)), Path(recipe_file).name)
    tell("… reading")
    prepared = prepare(read_exports(exports), recipe)
    for note in notes(prepared):
        tell(f"note: {note}")
    if recipe_out is not None:
        _offer(prepared, exports, recipe_out, tell)
    elif out is not None:
        _make(prepared, exports, Path(out), recipe_file, tell)


def _require_new(out: str | None, recipe_out: str | None) -> None:
    """Raise StudyError where it is not clear what to write, or something is there already."""
    if (out is None) == (recipe_out is None):
        raise StudyError([Problem("--out", "an import writes a study, or a recipe to be filled in",
                                  "name one of --out STUDY and --recipe-out FILE")])
    if recipe_out is not None and os.path.lexists(recipe_out):
        raise StudyError([Problem("--recipe-out", "this is there already", "name a file that does not exist",
                                  value=recipe_out)])
    if out is not None and (Path(out).is_file() or (Path(out).is_dir() and any(Path(out).iterdir()))):
        raise StudyError([Problem("--out", "this is there already, and an import makes a new study",
                                  "name a folder that does not exist", value=out)])


def _make(prepared: Prepared, exports: str, target: Path, recipe_file: str | None, tell: Tell) -> None:
    def stage(name: str) -> None:
        tell(f"… {name}")

    try:
        imported = import_study(prepared, target.name, stage)
    except StudyError as error:
        if prepared.decisions or isinstance(error, Undecided):
            given = f" --recipe {recipe_file}" if recipe_file else ""
            tell(f"To answer what is open: python -m reliability import {exports}{given} --recipe-out FILE writes a "
                 "recipe to be filled in.")
        raise
    if prepared.recipe.questions:
        from reliability.import_questions import answered  # slow to load
        imported = answered(imported, prepared.recipe.questions)
    stage("checking the study")
    for note in _study_of(imported, tell).notes:
        tell(f"note: {note}")
    stage("writing")
    imported.save(target, report_files(imported, target.name))
    say(report_outline(imported))
    if left := unlisted(prepared):
        say("Not used, as the recipe neither maps nor ignores them: map what is missing; list the rest under ignore, "
            f"so that only what is new stops the next import (the study's {RECIPE_FILE} does):")
        say("\n".join(f"  {of}" for of in left))
    say(f"Wrote {target}; next: python -m reliability run {target} --out out")


def _study_of(imported: Imported, tell: Tell) -> Study:
    """The study, opened; where it has problems, what their rows are of comes first."""
    try:
        return imported.study()
    except StudyError as error:
        tell("The study that these exports would make has problems; rows are those of its tables, which are not "
             "written.")
        ids = imported.tables["sections"]["section_id"].tolist()
        for row in sorted({p.row for p in error.problems if p.file == "sections.csv" and p.row}):
            if 2 <= row < len(ids) + 2:
                tell(f"sections.csv row {row}: section {ids[row - 2]}, that begins with the segment of this name")
        raise


def _write_whole(target: Path, text: str) -> None:
    """Write a new file, or none where the disk fills or this is stopped meanwhile."""
    handle, draft = tempfile.mkstemp(prefix=f".{target.name[:100]}-", dir=target.parent)
    try:
        with open(handle, "w", encoding="utf-8") as file:
            file.write(text)
        Path(draft).chmod(0o644)
        os.rename(draft, target)
    except BaseException:
        Path(draft).unlink(missing_ok=True)
        raise


def _offer(prepared: Prepared, exports: str, recipe_out: str, tell: Tell) -> None:
    offered = offered_recipe(prepared)
    _write_whole(Path(recipe_out), offered.text)
    for problem in offered.problems:
        tell(f"to be corrected: {problem}")
    say(f"Wrote {recipe_out}: {count(offered.guesses, 'guess', 'guesses')} to look at, "
        f"{count(len(offered.questions), 'answer')} to fill in; next: python -m reliability import {exports} "
        f"--recipe {recipe_out} --out my-study")
