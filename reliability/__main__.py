"""The command line: python -m reliability run | check | history | new | import."""

from __future__ import annotations

import argparse
import atexit
import errno
import gc
import json
import os
import sys
import traceback
from collections.abc import Callable, Collection, Iterable, Iterator
from concurrent.futures import BrokenExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

# before numpy is loaded: processes share the work here, threads of its library would only take their time
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from reliability import forked
from reliability.cautions import CAUTION
from reliability.formats import count, shown
from reliability.output_folder import foreign_files, refusal, results_of
from reliability.schema.assumptions import BY_KEY
from reliability.streams import OUTPUT, open_streams, say, silence, tell
from reliability.study import Problem, Study, StudyError, open_study
from reliability.study.save import SETTINGS_FILE

PROBLEMS_FOUND = 2
DEFECT = 1
SELDOM = 100_000    # new objects before Python looks for rings of them; by its own rule a tenth of a run goes there
DISK_FULL = (errno.ENOSPC, errno.EDQUOT)


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit status: 0, or 2 for a study with problems."""
    open_streams()
    options = _parsed(arguments)
    try:
        options.command(options)
    except StudyError as error:
        tell("\n".join(error.lines()))
        return PROBLEMS_FOUND
    except BrokenPipeError:  # the reader of our output has closed it
        pass
    except OSError as error:
        place = str(error.filename or "the output folder")
        remedy = ("have it written elsewhere; the work itself was done" if place == OUTPUT else
                  "make room there, or choose another folder" if error.errno in DISK_FULL else
                  "choose another folder or make this one writable")
        tell(str(Problem(place, error.strerror or str(error), remedy)))
        return PROBLEMS_FOUND
    except BrokenExecutor:
        tell("A worker process died, perhaps out of memory; nothing was written. Try fewer --workers.")
        return DEFECT
    except MemoryError:
        fewer = " or ".join(f"--{name}" for name in ("workers", "trials") if hasattr(options, name))
        tell("Not enough memory; nothing was written. " + (
            f"Try fewer {fewer}." if fewer else "Close other programs, or split the study."))
        return DEFECT
    except KeyboardInterrupt:
        tell("Interrupted; nothing was written.")
        return 130
    except Exception as error:  # a defect of ours, reported in a line instead of a traceback
        ours = str(Path(__file__).parent)
        frames = traceback.extract_tb(error.__traceback__)
        at = next((frame for frame in reversed(frames) if frame.filename.startswith(ours)), frames[-1])
        tell(f"Unexpected error, nothing was written: {type(error).__name__}: {error} "
             f"({Path(at.filename).name}, line {at.lineno}). Please report it.")
        return DEFECT
    return 0


def _parsed(arguments: list[str] | None) -> argparse.Namespace:
    """What is asked for; a reader of the help who has closed it is told nothing."""
    try:
        return _parser().parse_args(arguments)
    except SystemExit:
        try:
            sys.stdout.flush()
        except BrokenPipeError:
            silence(sys.stdout)
        raise


def _parser() -> argparse.ArgumentParser:
    """The parser of all commands; `command` of what it parses is the function to call."""
    parser = argparse.ArgumentParser(
        prog="python -m reliability", epilog=CAUTION,
        description="Which fused laterals are worth converting to electronic sectionalizers, and how certain is it?")
    commands = parser.add_subparsers(required=True, metavar="command")

    run = _command(commands, "run", _run, "compute a study and write its results",
                   "python -m reliability run data/demo --out out --trials 500")
    run.add_argument("study", type=_named, help="folder with study.toml and its tables")
    run.add_argument("--out", required=True, type=_named, metavar="DIR", help="folder for the results")
    run.add_argument("--trials", type=_whole(1, "trials"), metavar="N",
                     help="simulated horizons; without it, 200 at least and until the standard error of every "
                          "scenario's SAIDI difference to \"As built\" is under 1 %% of it, or a cap is reached")
    run.add_argument("--seed", type=_whole(0, "seed"), metavar="S",
                     help="the same seed gives the same results (default: the study's)")
    run.add_argument("--report", choices=["docx"], action="append", default=[],
                     help="also write report.docx, for pasting into a filing; needs python-docx")
    run.add_argument("--only", metavar="KINDS",
                     help="write no more than these, with commas: summary (always written), tables, report, workbook, "
                          "work_pack")
    run.add_argument("--workers", type=_whole(1), metavar="W",
                     help="processes at once, at most one a processor (default: one a processor); the results do not "
                          "depend on it")
    run.add_argument("--scheduler", metavar="ADDRESS",
                     help="compute on the workers of a Dask scheduler, such as tcp://10.0.0.5:8786; the results do not "
                          "depend on it; needs distributed")

    check = _command(commands, "check", _check, "read a study and list every problem",
                     "python -m reliability check data/demo")
    check.add_argument("study", type=_named, help="folder with study.toml and its tables")

    history = _command(commands, "history", _history, "analyse the outage records of a study",
                       "python -m reliability history data/demo --out out-history")
    history.add_argument("study", type=_named, help="folder with study.toml, its tables and outages.csv")
    history.add_argument("--out", required=True, type=_named, metavar="DIR",
                         help="folder for history.json, rates.csv, report.html")

    new = _command(commands, "new", _new, "write a small commented study to start from",
                   "python -m reliability new my-study")
    new.add_argument("folder", type=_named, help="folder to create")

    take = _command(commands, "import", _import, "make a study of exports: segments, devices, customers, outages",
                    "python -m reliability import data/exports --recipe data/exports/import.toml --out my-study")
    take.add_argument("exports", type=_named, help="folder of CSV, XLSX, GeoJSON, GeoPackage or shapefiles")
    take.add_argument("--out", type=_named, metavar="STUDY", help="folder to create for the study")
    take.add_argument("--recipe", type=_named, metavar="FILE", help="the decisions of an earlier import: import.toml")
    take.add_argument("--recipe-out", type=_named, metavar="FILE",
                      help="instead of a study write a recipe to be filled in: what is recognised, what is guessed, "
                           "and what has to be answered")
    return parser


def _command(commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str,
             function: Callable[[argparse.Namespace], None], text: str, example: str) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=text, description=text, epilog=f"Example: {example}")
    command.set_defaults(command=function)
    return command


def _named(text: str) -> str:
    """A reader of names of files and folders: a blank would be the folder one is in."""
    if not text.strip():
        raise argparse.ArgumentTypeError("a blank names nothing; the folder you are in is '.'")
    return text


def _whole(low: int, key: str | None = None) -> Callable[[str], int]:
    """A reader of whole numbers from `low` up to the upper bound of the assumption `key`."""
    most = BY_KEY[key].high if key else None

    def read(text: str) -> int:
        if not text.isascii() or not text.isdigit() or len(text) > 20 or int(text) < low:
            raise argparse.ArgumentTypeError(f"'{text[:40]}' is not a whole number from {low} up")
        if most is not None and int(text) > most:
            raise argparse.ArgumentTypeError(f"'{text}' is more than {most}")
        return int(text)
    return read


def _run(options: argparse.Namespace) -> None:
    from reliability.cluster import ClusterError
    from reliability.pipeline import analyse
    from reliability.report.figures import plain
    from reliability.report.output import DRAWN, RUN_FILES, write_results
    from reliability.report.picture import load
    from reliability.report.sentences import trials_cut
    from reliability.report.word import INSTALL_DOCX, DocxMissing, require_docx
    from reliability.tasks import Workers

    docx = "docx" in options.report
    if docx:
        try:
            require_docx()  # before the computation, not after it
        except DocxMissing as error:
            raise StudyError([Problem("--report", "python-docx is not installed", INSTALL_DOCX,
                                      value="docx")]) from error
    only = _kinds(options.only, docx)
    _keep_inputs(options.out, RUN_FILES, "run")
    study, workers = _opened(options.study), _workers(options.workers)
    with _progress_bar() as on_progress:
        try:
            results = analyse(study, trials=options.trials, seed=options.seed, workers=workers,
                              scheduler=options.scheduler, on_progress=on_progress, on_stage=_print_stage,
                              on_wait=load if DRAWN & set(only) else lambda: None)
        except ClusterError as error:
            raise StudyError([Problem("--scheduler", error.rule, error.remedy, value=options.scheduler)]) from error
    _print_stage("writing")
    results = results.without_rows()                    # no document shows them
    write_results(results, options.out, docx=docx, only=only, workers=Workers(None, workers))
    summary = json.loads((Path(options.out) / "summary.json").read_text(encoding="utf-8"))
    _print_notes(results.study.notes[len(study.notes):])  # on rates learned from the records
    if results.plan is not None and not results.plan.choice.feasible:
        _print_notes([results.plan.choice.message])
    if cut := plain(trials_cut(summary)):
        _print_notes([cut])
    say(outline(summary))


def _workers(asked: int | None) -> int:
    """As many processes as were asked for, but no more than can work at once; more would only take memory."""
    processors = forked.cores()
    if asked is not None and asked > processors:
        _print_notes([f"--workers {asked}: {count(processors, 'processor')} to work on, so {processors} at once."])
    return min(asked or processors, processors)


def _kinds(text: str | None, docx: bool) -> Collection[str]:
    """What `--only` asks for. Raises StudyError for what is no kind of output, all of it at once."""
    from reliability.report.output import DOCUMENTS, REPORT

    only = DOCUMENTS if text is None else tuple(dict.fromkeys(word.strip() for word in text.split(",")))
    unknown = [word for word in only if word not in DOCUMENTS]
    problems = [Problem("--only", "no kind of output", f"write one or more of {', '.join(DOCUMENTS)}, with commas",
                        value=word) for word in unknown]
    if docx and not unknown and REPORT not in only:
        problems = [Problem("--only", "report.docx is asked for as well, and is the report", "add report", value=text)]
    if problems:
        raise StudyError(problems)
    return only


def _check(options: argparse.Namespace) -> None:
    from reliability.history.device_events import finding_lines
    from reliability.history.findings import messages
    from reliability.history.operations import read_operations
    from reliability.history.outages import records_of

    study = _opened(options.study)
    records = records_of(study)
    if study.values["rates"] != "assumed":  # what learns is slow to load
        from reliability.history.rates import check_rates
        check_rates(study, records)
    if records is not None:
        _print_notes(messages(records.findings, study.outages_file))
        _print_notes(finding_lines(read_operations(study, records).findings, study))
    counts = {"section": len(study.sections), "customer": int(study.sections["customers"].sum()),
              "scenario": len(study.scenarios)}
    say(f"{study.name}: {', '.join(count(n, noun) for noun, n in counts.items())}; no problems.")


def _history(options: argparse.Namespace) -> None:
    from reliability.history.device_events import finding_lines
    from reliability.history.findings import messages
    from reliability.history.outages import records_of
    from reliability.pipeline import expect, learned_rates, modelled_days, with_rates
    from reliability.report.history_output import HISTORY_FILES, write_history

    _keep_inputs(options.out, HISTORY_FILES, "history")
    study = _opened(options.study)
    records = records_of(study)
    learned = learned_rates(study, records) if records else None
    modelled = modelled_days(expect(with_rates(study, records, learned)))
    history = write_history(study, options.out, modelled, records, learned)
    _print_notes(messages(history.records.findings, study.outages_file))
    _print_notes(finding_lines(history.operations.findings, study))
    for caution in history.cautions:
        say(caution)


def _opened(folder: str) -> Study:
    study = open_study(folder)
    _print_notes(study.notes)
    return study


def _print_notes(notes: Iterable[str]) -> None:
    for note in notes:
        tell(f"note: {note}")


def _keep_inputs(target: str, owned: Collection[str], command: str) -> None:
    """Raise StudyError where results cannot be written, or would replace files of the user or of another command.

    owned: names of the files that are about to be written. command: what writes them.
    """
    remedy = "choose a folder of its own for the results"
    if rule := refusal(target):         # before the work, not after it
        raise StudyError([Problem("--out", rule, "choose another folder, or make this one writable", value=target)])
    if (Path(target) / SETTINGS_FILE).exists():
        raise StudyError([Problem("--out", "this folder holds a study, and results would replace its tables", remedy,
                                  value=target)])
    if others := [other for other in results_of(target) if other != command]:
        raise StudyError([Problem("--out", f"this folder holds the results of {others[0]}, and those of {command} "
                                  "would replace some of them", f"choose another folder with --out: {command} and "
                                  f"{others[0]} need one each", value=target)])
    if foreign := foreign_files(target, owned, command):
        raise StudyError([Problem("--out", f"{foreign[0]} in this folder is of no earlier run, and would be replaced",
                                  remedy, value=target)])


def _new(options: argparse.Namespace) -> None:
    from reliability.study import write_template

    write_template(options.folder)
    say(f"Wrote {options.folder}; next: python -m reliability run {options.folder} --out out")


def _import(options: argparse.Namespace) -> None:
    from reliability.import_command import import_or_offer

    import_or_offer(options.exports, options.out, options.recipe, options.recipe_out, tell)


def _print_stage(stage: str) -> None:
    if sys.stderr.isatty():
        tell(f"… {stage}")


def outline(summary: dict[str, Any]) -> str:
    """The indices of every scenario as a few lines of text."""
    width = max(min(max(len(s["name"]) for s in summary["scenarios"]), 60), len("Scenario")) + 2
    lines = [f"{'Scenario':{width}}{'SAIFI':>9}{'SAIDI min':>11}{'MAIFI_E':>9}{'call-outs/yr':>14}"]
    for scenario in summary["scenarios"]:
        expected = scenario["expected"]
        cells = [expected["saifi"], expected["saidi_min"], expected["maifi_e"], sum(expected["callouts"].values())]
        texts = [shown(c, kind) for c, kind in zip(cells, ("index", "minutes", "ratio", "amount"), strict=True)]
        lines.append(f"{scenario['name'][:width - 2]:{width}}{texts[0]:>9} {texts[1]:>10} {texts[2]:>8} {texts[3]:>13}")
    return "\n".join([*lines, CAUTION])


@contextmanager
def _progress_bar() -> Iterator[Callable[[int, int, float], None]]:
    """A bar on standard error where that is a terminal, and the function that moves it (done, total, seconds left)."""
    from tqdm import tqdm

    with tqdm(unit="trial", file=sys.stderr, disable=None, leave=False) as bar:
        def show(done: int, total: int, seconds_left: float) -> None:
            bar.total, bar.n = total, done
            bar.refresh()
        yield show


def _leave(status: list[int]) -> None:
    """End at once where a command gave its status; Python would take everything apart first, a fifth of a check."""
    if status:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status[0])


if __name__ == "__main__":
    gc.set_threshold(SELDOM)
    given: list[int] = []
    atexit.register(_leave, given)      # of what is to be done at the end, the first registered is the last
    given.append(main())
    sys.exit(given[0])
