"""A kernel of this very environment, which sees no setting of the user's.

A "python3" kernel in a home folder may belong to another environment, and start-up files there may
change results; so kernel, settings and run-time files all live in a fresh folder.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from attrs import frozen

# what the notebook of a record asks for: loaded while the record itself is computed
_EARLY = "for name in ('weldcalc.page', 'weldcalc.plots', 'weldcalc.prediction', 'weldcalc.record',"
_EARLY += " 'pint', 'scipy.stats'): __import__(name)"


@frozen(eq=False)
class OwnKernel:
    """A kernel that runs, with the folder that it works in.

    Parameters
    ----------
    manager : jupyter_client.manager.AsyncKernelManager
        Started.
    folder : Path
        Passing: removed with all in it when the kernel has ended.
    """

    manager: Any
    folder: Path


@contextmanager
def own_kernel(*, early: bool = False) -> Iterator[OwnKernel]:
    """Run a kernel, and end it whatever happens.

    Parameters
    ----------
    early : bool, optional
        Load what a record's notebook needs at once and not when a cell asks for it.

    Yields
    ------
    OwnKernel
        Starting; the client waits until it is ready.
    """
    from jupyter_core.utils import run_sync

    with tempfile.TemporaryDirectory(prefix="weldcalc-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        manager = _manager(folder, early=early)
        try:
            run_sync(manager.start_kernel)(cwd=name, env={**os.environ, **_places(folder)})
            yield OwnKernel(manager, folder)
        finally:
            if manager.has_kernel:
                run_sync(manager.shutdown_kernel)(now=True)


def _manager(folder: Path, *, early: bool) -> Any:
    from ipykernel.kernelspec import get_kernel_dict
    from jupyter_client.kernelspec import KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager
    from zmq import has

    # cells report their own errors; the kernel's log only tells of being stopped at the end
    arguments = ["--log-level=CRITICAL"]
    if early:
        arguments.append(f"--IPKernelApp.exec_lines={_EARLY}")
    spec = get_kernel_dict(python_arguments=["-Xfrozen_modules=off"], extra_arguments=arguments)
    kernels = folder / "kernels"
    (kernels / "python3").mkdir(parents=True)
    (kernels / "python3" / "kernel.json").write_text(json.dumps(spec), encoding="utf-8")
    options: dict[str, Any] = {}
    if has("curve") and "transport_encryption" in AsyncKernelManager.class_trait_names():
        options["transport_encryption"] = "auto"
    return AsyncKernelManager(
        kernel_name="python3",
        kernel_spec_manager=KernelSpecManager(kernel_dirs=[str(kernels)]),
        connection_file=str(folder / "connection.json"),
        **options,
    )


def _places(folder: Path) -> dict[str, str]:
    places = {
        "JUPYTER_PATH": folder,
        "JUPYTER_DATA_DIR": folder / "jupyter_data",
        "JUPYTER_CONFIG_DIR": folder / "jupyter_config",
        "JUPYTER_RUNTIME_DIR": folder / "jupyter_run",
        "IPYTHONDIR": folder / "ipython",
        "MPLBACKEND": "module://matplotlib_inline.backend_inline",
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
    }
    if not _has_matplotlib_folder():
        places["MPLCONFIGDIR"] = folder / "matplotlib"
    return {name: str(place) for name, place in places.items()}


def _has_matplotlib_folder() -> bool:
    """Tell whether Matplotlib has a folder of the user to write to."""
    try:
        return os.access(os.environ.get("MPLCONFIGDIR") or Path.home() / ".config", os.W_OK)
    except RuntimeError:  # a user without an account has no home
        return False
