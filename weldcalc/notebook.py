"""Runs the shipped notebooks with guarded parameters, in this very environment and no other."""

from __future__ import annotations

import json
import logging
import os
import secrets
import sys
import tempfile
from collections.abc import Mapping
from contextlib import nullcontext, suppress
from pathlib import Path
from types import MappingProxyType
from typing import Any

from weldcalc import __version__
from weldcalc.errors import InputError, WeldcalcError
from weldcalc.fields import nearest
from weldcalc.own_kernel import OwnKernel, own_kernel
from weldcalc.whole_files import write_whole

_PACKAGE = Path(__file__).resolve().parent
_ENGINE = "weldcalc"
_CALLER = ("expected_version", "expected_prefix")

# every notebook with the names it may be given: declared here, because guessing them from the
# text of a cell has let misspelt names through silently elsewhere
TEMPLATES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "draft_a_schedule": ("schedule_file", "output_file"),
        "model_check": (),
        "overlap_and_speed": ("schedule_file", "pass_name"),
        "qualification_record": ("record_folder", "record_sha256"),
        "recheck_a_record": ("record_folder",),
    }
)


class NotebookError(WeldcalcError):
    """A notebook stopped; the message is one line, the notebook as far as it got is kept."""


def notebook_folder() -> Path:
    """Return the folder of the shipped notebooks: the checkout's own, else the packaged copy.

    Returns
    -------
    Path
        Existing folder.

    Raises
    ------
    WeldcalcError
        When neither is there.
    """
    is_checkout = (_PACKAGE.parent / "pyproject.toml").is_file()
    folders = [_PACKAGE.parent / "notebooks"] if is_checkout else []
    for folder in [*folders, _PACKAGE / "_notebooks"]:
        if folder.is_dir():
            return folder
    raise WeldcalcError(f"the notebooks are missing from {_PACKAGE}; install weldcalc again")


def template_path(name: str) -> Path:
    """Return the path of a shipped notebook.

    Parameters
    ----------
    name : str
        Key of `TEMPLATES`.

    Returns
    -------
    Path
        Existing file.

    Raises
    ------
    InputError
        When there is no such notebook; quotes the nearest names.
    """
    path = notebook_folder() / f"{name}.ipynb"
    if name not in TEMPLATES or not path.is_file():
        raise InputError.of("notebook", _unknown(name, TEMPLATES), name)
    return path


def run_template(
    name: str,
    *,
    parameters: Mapping[str, str],
    output: Path,
    reads_as: Mapping[str, str] = MappingProxyType({}),
    timeout: float = 600.0,
    kernel: OwnKernel | None = None,
) -> Path:
    """Run a shipped notebook and keep the executed copy.

    Parameters
    ----------
    name : str
        Key of `TEMPLATES`.
    parameters : mapping of str to str
        Only names declared for the notebook; texts only (paths, digests, names).
    output : Path
        Where the executed notebook goes; written whole or not at all.
    reads_as : mapping of str to str, optional
        Text to be replaced in the executed notebook, such as the name of a folder that is still
        unfinished by the name it will have.
    timeout : float, optional
        Longest time for one cell [s].
    kernel : OwnKernel, optional
        One that runs already, for this notebook alone; else one is started.

    Returns
    -------
    Path
        The output.

    Raises
    ------
    InputError
        For parameters that the notebook does not declare, with the nearest names.
    NotebookError
        When a cell fails or the kernel dies; what was reached is kept beside the output as
        FAILED-<id>.ipynb.
    """
    template = template_path(name)
    checked = _checked_parameters(name, parameters)
    with tempfile.TemporaryDirectory(prefix="weldcalc-") as work:
        draft = Path(work) / "executed.ipynb"
        try:
            with nullcontext(kernel) if kernel else own_kernel() as running:
                _execute(template, draft, checked, running, timeout)
        except Exception as error:  # whatever papermill, Jupyter or the kernel come up with
            kept = _keep_failed(draft, output, reads_as)
            raise NotebookError(f"notebook {name}: {_one_line(error)}{kept}") from None
        _publish(draft, output, reads_as)
    return output


def _unknown(word: str, known: Mapping[str, Any] | tuple[str, ...]) -> str:
    near = " or ".join(nearest(word, known))
    return f"unknown; {f'did you mean {near}?' if near else 'known are ' + ', '.join(known)}"


def _checked_parameters(name: str, parameters: Mapping[str, str]) -> dict[str, str]:
    declared = TEMPLATES[name]
    for key, value in parameters.items():
        if key not in declared:
            raise InputError.of(f"{name} parameter {key}", _unknown(key, declared))
        if not isinstance(value, str):
            raise InputError.of(f"{name} parameter {key}", "has to be a text", value)
    caller = dict(zip(_CALLER, (__version__, sys.prefix), strict=True))
    return {**parameters, **caller}


def _execute(
    template: Path, draft: Path, parameters: dict[str, str], kernel: OwnKernel, timeout: float
) -> None:
    import papermill

    # what goes wrong comes back as an error; the log would tell it a second time
    logging.getLogger("papermill").setLevel(logging.CRITICAL)
    _register_engine()
    papermill.execute_notebook(
        str(template),
        str(draft),
        parameters=parameters,
        engine_name=_ENGINE,
        kernel_name="python3",
        language="python",
        progress_bar=sys.stderr.isatty(),
        execution_timeout=int(timeout),
        start_timeout=120,
        km=kernel.manager,
    )


def _register_engine() -> None:
    """Make papermill use a kernel that runs already, and end it with the notebook."""
    from papermill.clientwrap import PapermillNotebookClient
    from papermill.engines import NBClientEngine, papermill_engines
    from papermill.log import logger

    class OwnKernelEngine(NBClientEngine):  # type: ignore[misc]
        @classmethod
        def execute_managed_notebook(cls, nb_man: Any, kernel_name: str, **options: Any) -> Any:
            client = PapermillNotebookClient(
                nb_man,
                km=options["km"],
                kernel_name=kernel_name,
                log=logger,
                timeout=options["execution_timeout"],
                startup_timeout=options["start_timeout"],
                shutdown_kernel="immediate",
            )
            return client.execute(cleanup_kc=True)

    papermill_engines.register(_ENGINE, OwnKernelEngine)


def _one_line(error: Exception) -> str:
    name, value = getattr(error, "ename", None), getattr(error, "evalue", None)
    text = f"{name}: {value}" if name else f"{type(error).__name__}: {error}"
    if not name and "Kernel died" in text:
        text = "the kernel died: ended from outside, or out of memory"
    return " ".join(text.split())[:500]


def _keep_failed(draft: Path, output: Path, reads_as: Mapping[str, str]) -> str:
    if not draft.is_file():
        return ""
    failed = output.parent / f"FAILED-{secrets.token_hex(4)}.ipynb"
    _publish(draft, failed, reads_as)
    return f" (as far as it got: {failed.name})"


def _publish(draft: Path, output: Path, reads_as: Mapping[str, str]) -> None:
    """Move an executed notebook to its place, without the paths and times of this one run."""
    import nbformat

    notebook = nbformat.read(draft, as_version=4)
    notebook.metadata.pop("papermill", None)
    for cell in notebook.cells:
        cell.metadata.pop("papermill", None)
        cell.metadata.pop("execution", None)
    text = nbformat.writes(notebook)
    for old, new in reads_as.items():
        text = text.replace(json.dumps(old)[1:-1], json.dumps(new)[1:-1])
    write_whole(output, text)


def check_environment(expected_version: str, expected_prefix: str) -> None:
    """Stop a notebook that runs in another environment than the command that started it.

    Parameters
    ----------
    expected_version, expected_prefix : str
        weldcalc version and sys.prefix of the caller; empty when a person runs the notebook.

    Raises
    ------
    WeldcalcError
        When either differs.
    """
    found = (__version__, sys.prefix)
    for what, wanted, here in zip(
        ("weldcalc", "prefix"), (expected_version, expected_prefix), found, strict=True
    ):
        if wanted and wanted != here:
            raise WeldcalcError(f"the kernel runs {what} {here}, the caller {wanted}")


def copy_notebooks(folder: Path) -> tuple[Path, ...]:
    """Copy the shipped notebooks, the demo inputs and the empty forms to a folder of the user's.

    Parameters
    ----------
    folder : Path
        Made when it is not there; files that exist are kept and refused.

    Returns
    -------
    tuple of Path
        What was copied.

    Raises
    ------
    InputError
        When one of the files exists already; nothing is copied then.
    """
    from weldcalc.reference import data_folder

    sources = sorted(notebook_folder().glob("*.ipynb"))
    sources += sorted(path for path in (data_folder() / "demo").glob("*") if path.is_file())
    sources += sorted((data_folder() / "qualification").glob("*_template.toml"))
    targets = [folder / source.name for source in sources]
    taken = [target for target in targets if target.exists()]
    if taken:
        raise InputError.of(str(taken[0]), "exists already; name a new folder to keep your work")
    was_there = folder.exists()
    try:
        for source, target in zip(sources, targets, strict=True):
            write_whole(target, source.read_bytes())
    except BaseException:  # else the next try would find files in its way
        with suppress(OSError):
            for target in targets:
                target.unlink(missing_ok=True)
            if not was_there:
                folder.rmdir()
        raise
    return tuple(targets)


def lab_command(folder: Path) -> str:
    """Return the command that opens a folder in the JupyterLab of this environment.

    Parameters
    ----------
    folder : Path
        What is opened.

    Returns
    -------
    str
        To be typed into a terminal in the current folder, whether or not the environment is
        activated there.
    """
    programs = Path(sys.prefix) / ("Scripts" if os.name == "nt" else "bin")
    jupyter = Path("jupyter")
    if str(programs) not in os.environ.get("PATH", "").split(os.pathsep):
        here = Path.cwd()
        jupyter = programs / jupyter
        jupyter = jupyter.relative_to(here) if jupyter.is_relative_to(here) else jupyter
    return " ".join(f'"{one}"' if " " in str(one) else str(one) for one in (jupyter, "lab", folder))
