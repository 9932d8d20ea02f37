"""The picture taker reads its arguments like every other command."""

from pathlib import Path

import pytest

take_pictures = pytest.importorskip("fixtures_demo.take_pictures")


@pytest.fixture
def taken(monkeypatch):
    """Where pictures were taken to, without a browser."""
    folders: list[Path] = []
    monkeypatch.setattr(take_pictures.shutil, "which", lambda name: "/a/browser")
    monkeypatch.setattr(
        take_pictures, "take_pictures", lambda folder, chromium: folders.append(folder) or []
    )
    return folders


def test_help_takes_no_picture(taken, capsys):
    with pytest.raises(SystemExit) as ended:
        take_pictures.main(["--help"])
    assert ended.value.code == 0
    assert "FOLDER" in capsys.readouterr().out
    assert taken == []


def test_an_option_nobody_knows_is_refused_and_makes_no_folder(taken, capsys):
    with pytest.raises(SystemExit) as ended:
        take_pictures.main(["--folder=x"])
    assert ended.value.code == 2
    assert taken == []


def test_the_folder_told_is_used_else_that_of_the_manual(taken, tmp_path):
    assert take_pictures.main([str(tmp_path)]) == take_pictures.main([]) == 0
    assert taken == [tmp_path, take_pictures.FOLDER]
