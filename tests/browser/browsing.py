"""A JupyterLab of its own and a headless Chromium, for tests and pictures.

Needs the system's Chromium and, for the accessibility tests, axe-core from npm; tests that miss
theirs are skipped and say so:

    CHROMIUM   path of the browser, the chromium of the system when not set
    AXE_CORE   path of axe.min.js (npm install --prefix FOLDER axe-core puts it into
               FOLDER/node_modules/axe-core/axe.min.js)
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from ipykernel.kernelspec import get_kernel_dict
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or "chromium"
ARGUMENTS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
_SETTINGS: dict[str, dict[str, object]] = {
    "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
    # cells out of sight would not be in the page, so that nothing could be said about them
    "notebook-extension/tracker": {"windowingMode": "none"},
}
_SLOW = 60_000.0  # ms; two busy processors start a kernel slowly
_WHOLE_NOTEBOOK = 300_000.0  # ms; a draft computes thousands of pulses


@contextmanager
def chromium() -> Iterator[Browser]:
    """Run the system's Chromium."""
    if not shutil.which(CHROMIUM):
        pytest.skip(f"no browser at {CHROMIUM}; set CHROMIUM to the path of one")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        yield browser
        browser.close()


class Lab:
    """A running JupyterLab and the folder that it shows."""

    def __init__(self, folder: Path, port: int, token: str) -> None:
        self.folder, self.port, self.token = folder, port, token

    def open(self, page: Page, name: str) -> None:
        """Open a notebook and wait until its kernel is ready."""
        address = f"http://127.0.0.1:{self.port}/lab/tree/{name}?reset&token={self.token}"
        page.goto(address, timeout=_SLOW)
        page.wait_for_selector(".jp-NotebookPanel .jp-Cell", timeout=_SLOW)
        page.get_by_text("Python 3 (ipykernel) | Idle").wait_for(timeout=_SLOW)


@contextmanager
def lab(folder: Path, work: Path, theme: str = "") -> Iterator[Lab]:
    """Run JupyterLab on a folder, with no setting, kernel or news from anywhere else."""
    environment = _environment(work, theme)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    token = secrets.token_hex(8)
    options = [
        f"--ServerApp.root_dir={folder}",
        f"--ServerApp.port={port}",
        f"--IdentityProvider.token={token}",
        "--ServerApp.terminals_enabled=False",
        "--LabApp.news_url=None",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--no-browser",
        "--allow-root",
    ]
    with (work / "lab.log").open("w") as log:
        server = subprocess.Popen(
            [sys.executable, "-m", "jupyterlab", *options],
            env=environment,
            stdout=log,
            stderr=log,
        )
        try:
            made = Lab(folder, port, token)
            _wait_until_up(made, server)
            yield made
        finally:
            server.terminate()
            server.wait(timeout=30)


def _environment(work: Path, theme: str) -> dict[str, str]:
    kernel = work / "jupyter" / "kernels" / "python3"
    kernel.mkdir(parents=True)
    (kernel / "kernel.json").write_text(json.dumps(get_kernel_dict()))
    chosen = {"apputils-extension/themes": {"theme": theme}} if theme else {}
    for name, values in {**_SETTINGS, **chosen}.items():
        path = work / "settings" / "@jupyterlab" / f"{name}.jupyterlab-settings"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(values))
    return {
        **os.environ,
        "JUPYTER_PATH": str(work / "jupyter"),
        "JUPYTER_DATA_DIR": str(work / "data"),
        "JUPYTER_CONFIG_DIR": str(work / "config"),
        "JUPYTER_RUNTIME_DIR": str(work / "run"),
        "JUPYTERLAB_SETTINGS_DIR": str(work / "settings"),
        "JUPYTERLAB_WORKSPACES_DIR": str(work / "workspaces"),
        "IPYTHONDIR": str(work / "ipython"),
    }


def _wait_until_up(made: Lab, server: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + 90
    while time.monotonic() < deadline:
        if server.poll() is not None:
            raise RuntimeError(f"JupyterLab ended with {server.returncode}")
        try:
            with socket.create_connection(("127.0.0.1", made.port), timeout=2):
                return
        except OSError:
            time.sleep(0.3)
    raise RuntimeError("JupyterLab did not start")


def run_all_cells(page: Page) -> None:
    """Run every cell and wait until the kernel has answered the last one, or a cell failed."""
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
    page.wait_for_function(_ALL_DONE, arg=_ERROR, timeout=_WHOLE_NOTEBOOK)


# JupyterLab 4.6 gives a traceback the type of what goes to stderr, newer ones may not
_ERROR = ", ".join(
    f".jp-RenderedText[data-mime-type='application/vnd.jupyter.{kind}']"
    for kind in ("stderr", "error")
)
# every code cell that is not empty carries a number in its brackets, and none carries a star;
# after an error the cells below it never run
_ALL_DONE = """(error) => {
  const widget = document.querySelector('.jp-NotebookPanel:not(.lm-mod-hidden) .jp-Notebook');
  const prompts = [...widget.querySelectorAll('.jp-CodeCell .jp-InputPrompt')];
  const done = prompts.length > 0 && prompts.every((p) => /\\[\\d+\\]/.test(p.textContent));
  return done || widget.querySelector(error) !== null;
}"""


def errors_shown(page: Page) -> list[str]:
    """Return the last line of every error or warning that cells show."""
    return [text.strip().splitlines()[-1] for text in page.locator(_ERROR).all_inner_texts()]


def serious_faults(page: Page, within: str | None = None) -> list[str]:
    """Return the serious and critical accessibility faults that axe-core finds, one a line."""
    path = os.environ.get("AXE_CORE", "")
    if not Path(path).is_file():
        pytest.skip("set AXE_CORE to the axe.min.js of the npm package axe-core")
    page.evaluate(Path(path).read_text(encoding="utf-8"))
    found: dict[str, Any] = page.evaluate(
        "(within) => axe.run(within ?? document, {resultTypes: ['violations']})", within
    )
    return [
        f"{fault['id']} ({fault['impact']}): {fault['nodes'][0]['html'][:160]}"
        for fault in found["violations"]
        if fault["impact"] in ("serious", "critical")
    ]


_TIMED = """async ([label, key]) => {
  const row = [...document.querySelectorAll('.weldcalc-row')]
    .find((one) => one.textContent.startsWith(label));
  const panel = row.closest('.weldcalc-trainee');
  const handle = row.querySelector('.noUi-handle');
  const before = panel.querySelector('svg').outerHTML;
  const start = performance.now();
  const done = new Promise((resolve, reject) => {
    const watch = new MutationObserver(() => {
      if (panel.querySelector('svg').outerHTML === before) return;
      watch.disconnect();
      requestAnimationFrame(() => resolve(performance.now() - start));
    });
    watch.observe(panel, {childList: true, subtree: true, characterData: true});
    setTimeout(() => reject(new Error('nothing changed within 20 s')), 20000);
  });
  handle.dispatchEvent(new KeyboardEvent('keydown', {key, bubbles: true, cancelable: true}));
  return await done;
}"""


def time_of_move(page: Page, label: str, key: str = "ArrowRight") -> float:
    """Move the slider whose name starts so by one step; return how long the picture took [ms]."""
    return float(page.evaluate(_TIMED, [label, key]))
