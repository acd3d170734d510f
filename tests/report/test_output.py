"""The folder that `run` writes is of one run: what an earlier one left goes, what is the user's stays."""

from __future__ import annotations

import json

import pytest

from reliability.output_folder import complete_folder
from reliability.pipeline import analyse
from reliability.report import work_pack_of_results
from reliability.report.output import DOCUMENTS, REPORT, RUN_FILES, SUMMARY, TABLES, write_results
from tests.networks import study_of
from tests.report.test_other_studies import BARE


def test_every_file_written_is_among_the_names_owned(written, tmp_path):
    pytest.importorskip("docx")
    write_results(analyse(study_of(BARE), trials=2), tmp_path / "out", docx=True, only=[REPORT])
    assert {f.name for f in (tmp_path / "out").iterdir()} == {"summary.json", "report.html", "report.docx"}
    assert {f.name for f in written.iterdir()} | {"report.docx"} == set(RUN_FILES)


@pytest.mark.parametrize("only", [DOCUMENTS, [SUMMARY]])
def test_the_work_pack_is_made_once_for_all_documents(results, summary_json, tmp_path, monkeypatch, undrawn, only):
    made, makers = [], work_pack_of_results.work_pack
    monkeypatch.setattr(work_pack_of_results, "work_pack", lambda *a, **k: made.append(makers(*a, **k)) or made[-1])
    write_results(results, tmp_path / "out", only=only)
    assert len(made) == 1
    revision = json.loads((tmp_path / "out" / "summary.json").read_text())["choice"]["work_pack_revision"]
    assert revision == summary_json["choice"]["work_pack_revision"]


def test_a_run_without_docx_removes_that_of_an_earlier_one(results, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    for name in ("report.docx", "notes.txt", "sections.xlsx"):
        (out / name).write_text("before")
    write_results(results, out, only=[TABLES])
    assert not (out / "report.docx").exists()
    assert (out / "notes.txt").read_text() == (out / "sections.xlsx").read_text() == "before"


def test_a_write_that_fails_removes_nothing(tmp_path):
    (tmp_path / "seal").write_text("before")
    (tmp_path / "stale").write_text("before")

    def write():
        with complete_folder(tmp_path, "seal", ("seal", "stale")) as folder:
            (folder / "seal").write_text("after")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        write()
    assert {f.name: f.read_text() for f in tmp_path.iterdir()} == {"seal": "before", "stale": "before"}


def test_a_folder_of_the_users_with_an_owned_name_stays(tmp_path):
    (tmp_path / "stale" / "inside").mkdir(parents=True)
    with complete_folder(tmp_path, "seal", ("seal", "stale")) as folder:
        (folder / "seal").write_text("after")
    assert (tmp_path / "stale" / "inside").is_dir()
