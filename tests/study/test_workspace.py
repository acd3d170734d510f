"""The workspace: plain folders of studies, and nothing outside it."""

from __future__ import annotations

import pytest

from reliability.study import open_study, workspace


@pytest.fixture(autouse=True)
def _own_workspace(tmp_path, monkeypatch):
    monkeypatch.setenv(workspace.ENVIRONMENT, str(tmp_path / "workspace"))


@pytest.mark.parametrize("name", ["..", "../demo", "/etc", ".", "", "demo/../demo", "demo/", ".incoming", "nobody",
                                  "a\0b"])
def test_only_studies_of_the_workspace_are_opened(name):
    with pytest.raises(KeyError):
        workspace.folder_of(name)


def test_a_link_out_of_the_workspace_is_no_study(tmp_path):
    workspace.studies()
    (tmp_path / "outside").mkdir()
    (workspace.root() / "trick").symlink_to(tmp_path / "outside")
    with pytest.raises(KeyError):
        workspace.folder_of("trick")


def test_the_demos_are_put_into_an_empty_workspace_and_open():
    assert workspace.studies() == ["wooded-town", "demo"]        # the one that opens first
    for name, demo in workspace.DEMOS.items():
        assert open_study(workspace.folder_of(name)).inputs_sha256 == open_study(demo.source).inputs_sha256


@pytest.mark.parametrize(("title", "name"), [("Clear Creek & Sons", "clear-creek-sons"), ("../../x", "x"), ("🔥",
                                                                                                            "study"),
                                             ("CON:aux", "con-aux"), ("Ünïted", "united"), ("demo", "demo-2")])
def test_folder_names_are_plain_and_free(title, name):
    assert workspace.free_name(title) == name
