"""What is wrong with a start is said in a sentence with exit code 2, before anything is made."""

import fcntl
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def begin(*words: str) -> subprocess.CompletedProcess[str]:
    """Only what comes before the settings are read, as ``manage.py`` calls it."""
    code = "import sys; from referrals.project.launch import prepare_environment as p; p(sys.argv)"
    return subprocess.run(
        [sys.executable, "-c", code, *words], cwd=ROOT, capture_output=True, text=True, timeout=60
    )


@pytest.mark.parametrize("command", ["demo", "serve"])
@pytest.mark.parametrize("port", ["abc", "99999", "-1", "80.5", "٨٠"])
def test_a_port_that_cannot_be_is_named(command, port, tmp_path):
    answer = begin(command, "--data", str(tmp_path), f"--port={port}")
    assert answer.returncode == 2
    assert answer.stderr == f"--port is a whole number up to 65535, not {port!r}\n"


@pytest.mark.parametrize("command", ["demo", "serve"])
def test_a_folder_that_cannot_be_made_is_named_with_a_way_out(command, tmp_path):
    in_the_way = tmp_path / "file"
    in_the_way.touch()
    answer = begin(command, "--data", str(in_the_way / "data"))
    assert answer.returncode == 2
    assert answer.stderr.startswith(f"Nothing can be kept in {in_the_way / 'data'}: ")
    assert answer.stderr.endswith("--data FOLDER\n")


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write everywhere")
def test_a_folder_that_must_not_be_written_to_is_named(tmp_path):
    tmp_path.chmod(0o500)
    answer = begin("demo", "--data", str(tmp_path))
    assert answer.returncode == 2
    assert "Permission denied" in answer.stderr


def test_a_second_demo_on_the_same_folder_is_refused_and_moves_no_clock(tmp_path):
    assert begin("demo", "--data", str(tmp_path)).returncode == 0
    clock = (tmp_path / "clock.json").read_text()
    with (tmp_path / "in_use").open("w") as first:
        fcntl.flock(first, fcntl.LOCK_EX)
        answer = begin("demo", "--data", str(tmp_path), "--speed", "60")
    assert answer.returncode == 2
    assert answer.stderr == (
        f"A demo runs on {tmp_path} already. End it with Ctrl-C, "
        "or choose another folder for this one: --data FOLDER\n"
    )
    assert (tmp_path / "clock.json").read_text() == clock


def test_a_folder_is_free_again_when_its_demo_has_ended(tmp_path):
    for _ in range(2):
        assert begin("demo", "--data", str(tmp_path)).returncode == 0
