"""What has to stand in the environment before Django reads its settings.

``manage.py demo`` must choose its own data folder, clock and secret, and Django reads those once.
Nothing here imports Django.
"""

import fcntl
import json
import os
import socket
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import IO, NoReturn

DEMO_SECRET = "demo-secret-known-to-everybody-never-for-real-babies"  # noqa: S105
OWN_BROKER = "memory://localhost"
HIGHEST_PORT = 65535
_held: list[IO[str]] = []
"""Open as long as this process lives, however it ends: a lock on a file goes with its process."""


def prepare_environment(argv: list[str]) -> None:
    """What ``demo``, ``serve`` and the sweep beside them need; the rest is left as it is."""
    if len(argv) < 2:
        return
    if argv[1] == "demo":
        _prepare_demo(argv[2:])
    elif argv[1] == "serve":
        _prepare_serve(argv[2:])
    elif argv[1] == "sweep" and "--beside" in argv:
        go_when_parent_goes()


def go_when_parent_goes() -> None:
    """End this process as soon as the one that started it is gone, however it went.

    Begun before anything slow is imported, so that no moment of its life outlasts the parent.
    """

    def watch() -> None:
        # Not by way of sys.stdin: nothing else of this process may wait for its lock.
        while os.read(0, 4096):
            pass
        os._exit(0)

    threading.Thread(target=watch, name="parent watch", daemon=True).start()


def _prepare_demo(arguments: list[str]) -> None:
    headless = "--headless" in arguments
    fallback = tempfile.mkdtemp(prefix="littleroad-demo-") if headless else ".littleroad/demo"
    data = _folder(option(arguments, "--data") or fallback)
    _keep_for_one_demo(data)
    speed = option(arguments, "--speed") or ("360" if headless else "1")
    port = _port(arguments, "0" if headless else "8000")
    # The demo is always the embedded default: it must not touch a real database by accident.
    os.environ.pop("DATABASE_URL", None)
    os.environ.pop("REDIS_URL", None)
    os.environ["LITTLEROAD_DEMO"] = "1"
    os.environ["LITTLEROAD_SECRET_KEY"] = DEMO_SECRET
    os.environ["LITTLEROAD_DATA_DIR"] = str(data)
    os.environ["LITTLEROAD_CLOCK"] = demo_clock(data, speed)
    os.environ["LITTLEROAD_DEMO_PORT"] = port if port != "0" else str(free_port())


def _prepare_serve(arguments: list[str]) -> None:
    if data := option(arguments, "--data"):
        os.environ["LITTLEROAD_DATA_DIR"] = str(_folder(data))
    port = _port(arguments, "8000")
    os.environ.setdefault("LITTLEROAD_BASE_URL", f"http://127.0.0.1:{port}")


def _folder(name: str) -> Path:
    """The folder for the data, made if need be; a sentence when it cannot be written to."""
    folder = Path(name).resolve()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        _refuse(
            f"Nothing can be kept in {folder}: {error.strerror}. "
            "Choose a folder that you may write to: --data FOLDER"
        )
    return folder


def _port(arguments: list[str], otherwise: str) -> str:
    text = option(arguments, "--port") or otherwise
    if not (text.isascii() and text.isdigit() and int(text) <= HIGHEST_PORT):
        _refuse(f"--port is a whole number up to {HIGHEST_PORT}, not {text!r}")
    return text


def _keep_for_one_demo(data: Path) -> None:
    """Two demos on one folder would run two clocks and answer each other's messages."""
    file = (data / "in_use").open("w")
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        _refuse(
            f"A demo runs on {data} already. End it with Ctrl-C, "
            "or choose another folder for this one: --data FOLDER"
        )
    _held.append(file)


def _refuse(sentence: str) -> NoReturn:
    sys.stderr.write(f"{sentence}\n")
    raise SystemExit(2)


def demo_clock(data: Path, speed: str) -> str:
    """The demo's clock as ``real anchor,shown anchor,speed`` in seconds.

    It is kept beside the demo's data, so that a restarted demo goes on from where its clock had
    come to and never runs backwards.
    """
    kept = data / "clock.json"
    real = time.time()
    shown = real
    if kept.exists():
        before = json.loads(kept.read_text())
        shown = max(real, before["shown"] + (real - before["real"]) * before["speed"])
    try:
        factor = float(speed)
    except ValueError:
        factor = 1.0  # the command itself says what is wrong with the option
    kept.write_text(json.dumps({"real": real, "shown": shown, "speed": factor}))
    return f"{real},{shown},{factor}"


def free_port() -> int:
    """A port of this machine that nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def option(arguments: list[str], name: str) -> str | None:
    """The value of ``--name VALUE`` or ``--name=VALUE``, or nothing."""
    for position, argument in enumerate(arguments):
        if argument == name and position + 1 < len(arguments):
            return arguments[position + 1]
        if argument.startswith(f"{name}="):
            return argument.split("=", 1)[1]
    return None
