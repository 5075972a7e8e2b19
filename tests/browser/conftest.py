"""A JupyterLab on loopback with a token, and a headless Chromium that can reach nothing else."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from lossstats.notebook_copies import copy_notebooks
from lossstats.simulator.examples import example_trial
from lossstats.trial_folder.trial import write_trial

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
LIMIT_S = 60.0
# Nobody listens at the proxy, and loopback passes it by: whatever a page asks for, nothing leaves the machine.
OPTIONS = (
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
    "--proxy-server=127.0.0.1:9",
)
# No question about news, no look for updates; every cell in the page, not only those in view.
SETTINGS = {
    "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True},
    "notebook-extension/tracker": {"windowingMode": "none"},
}


class Lab(NamedTuple):
    """A running JupyterLab whose root folder is a trial folder with a working copy of the notebooks."""

    folder: Path
    base: str
    token: str


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def write_settings(folder: Path) -> None:
    for name, values in SETTINGS.items():
        path = folder / "@jupyterlab" / f"{name}.jupyterlab-settings"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(values), encoding="utf-8")


def surroundings(own: Path, token: str) -> dict[str, str]:
    """Nothing of the user's own Jupyter is read or written; the token stands in no list of processes."""
    of_user = {name: value for name, value in os.environ.items() if not name.startswith("JUPYTER")}
    places = {"CONFIG": "config", "DATA": "data", "RUNTIME": "runtime"}
    return {
        **of_user,
        **{f"JUPYTER_{name}_DIR": str(own / place) for name, place in places.items()},
        "JUPYTERLAB_SETTINGS_DIR": str(own / "settings"),
        "JUPYTERLAB_WORKSPACES_DIR": str(own / "workspaces"),
        "JUPYTER_TOKEN": token,
    }


def wait_until_up(base: str, token: str, server: subprocess.Popen[bytes], log: Path) -> None:
    address = f"{base}/api/status?token={token}"
    until = time.monotonic() + LIMIT_S
    while time.monotonic() < until and server.poll() is None:
        with contextlib.suppress(OSError), urllib.request.urlopen(address, timeout=5) as answer:  # noqa: S310
            answer.read()
            return
        time.sleep(0.2)
    pytest.fail(f"JupyterLab did not come up:\n{log.read_text(encoding='utf-8', errors='replace')[-3000:]}")


@pytest.fixture(scope="session")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    own = tmp_path_factory.mktemp("lab")
    folder, token, port = own / "flour_dust", secrets.token_hex(16), free_port()
    write_trial(example_trial("flour_dust"), folder)
    copy_notebooks(folder)
    write_settings(own / "settings")
    options = {
        "ServerApp.ip": "127.0.0.1",
        "ServerApp.port": port,
        "ServerApp.port_retries": 0,
        "ServerApp.root_dir": folder,
        "ServerApp.allow_root": True,
        "ServerApp.open_browser": False,
        "ServerApp.terminals_enabled": False,
        "LabApp.extension_manager": "readonly",
    }
    command = [sys.executable, "-m", "jupyterlab", *(f"--{name}={value}" for name, value in options.items())]
    with (own / "server.log").open("wb") as log:
        server = subprocess.Popen(command, stdout=log, stderr=log, env=surroundings(own, token), start_new_session=True)
    base = f"http://127.0.0.1:{port}"
    try:
        wait_until_up(base, token, server, own / "server.log")
        yield Lab(folder, base, token)
    finally:
        stop(server)


def stop(server: subprocess.Popen[bytes]) -> None:
    # The server ends its kernels; what is left of its group after that is ended too.
    server.terminate()
    try:
        server.wait(20)
    except subprocess.TimeoutExpired:
        pass
    finally:
        if server.poll() is None:
            os.killpg(server.pid, signal.SIGKILL)
            server.wait(10)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    if found is None:
        pytest.skip(f"found no browser on PATH; accepted: one of {', '.join(BROWSERS)}")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=found, args=list(OPTIONS))
        yield opened
        opened.close()
