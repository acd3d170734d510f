"""Studies at the edge open on every page and say what there is to say."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from reliability.study import workspace
from reliability.study.save import create
from tests.ui.conftest import app, go, said

pytestmark = pytest.mark.slow
REFERENCES = Path(__file__).parents[1] / "data" / "references"
TRIALS = b"\n[simulation]\ntrials = 20\n"
HEAD = b"section_id,parent_id,device,length_km,customers\n"
LONG = b"x" * 10_000
CORNERS = {
    "one section": HEAD + b"a,,breaker,1,5\n",
    "no lateral": HEAD + b"a,,breaker,1,5\nb,a,,2,3\n",
    "no fault": HEAD + b"a,,breaker,0,5\nb,a,fuse,0,3\n",
    "one customer": HEAD + b"a,,breaker,1,0\nb,a,fuse,1,1\n",
    "nobody": HEAD + b"a,,breaker,1,0\nb,a,fuse,1,0\n",
    "customers on the main only": HEAD + b"a,,breaker,1,9\nb,a,fuse,1,0\n",
    "a long name": HEAD + LONG + b",,breaker,1,9\nb," + LONG + b",fuse,1,4\n",
    "two sources": HEAD + b"a,,breaker,1,9\nb,a,fuse,1,4\nc,,recloser,1,9\nd,c,fuse,1,4\n",
    "odd names": HEAD + '"=HYPERLINK(""x"")",,breaker,1,9\n"<script>x</script>","=HYPERLINK(""x"")",fuse,1,4\n'
                        '"🔥 شبكة","=HYPERLINK(""x"")",fuse,1,4\n"+1-1","🔥 شبكة",fuse,1,4\n'.encode(),
}
ALL = 'name = "Edge"\n[[scenarios]]\nname = "All"\ncounts = 1\n'


@pytest.mark.parametrize("scenarios", ["", ALL])
@pytest.mark.parametrize("corner", list(CORNERS))
def test_every_page_opens(corner, scenarios):
    create(workspace.root() / "edge", {"study.toml": (scenarios or 'name = "Edge"\n').encode() + TRIALS,
                                       "sections.csv": CORNERS[corner]})
    visit_all("edge")


@pytest.mark.parametrize("folder", sorted(f.parent for f in REFERENCES.rglob("study.toml")),
                         ids=lambda f: f.relative_to(REFERENCES).as_posix())
def test_every_page_opens_for_the_published_studies(folder):
    workspace.root().mkdir(parents=True)
    shutil.copytree(folder, workspace.root() / "reference")
    visit_all("reference")


def visit_all(name: str) -> None:
    test = app("study", name)
    for page in ("compare", "laterals", "choice", "business", "history", "report", "method"):
        go(test, page)
        assert "problem" not in said(test).replace("without problems", "") or page == "method"
