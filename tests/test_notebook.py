"""Running the shipped notebooks: guarded names, this environment only, clean failures."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook
from record_samples import copied_example, copied_record, data_of, full_record, write_schedule

from weldcalc import notebook, own_kernel
from weldcalc.errors import InputError, WeldcalcError
from weldcalc.notebook import (
    TEMPLATES,
    NotebookError,
    check_environment,
    copy_notebooks,
    notebook_folder,
    run_template,
)
from weldcalc.record import read_record
from weldcalc.workflow import write_full_record

PARAMETER = re.compile(r'[a-z_0-9]+: str = "[^"=]*"(?:  # .+)?')


@pytest.fixture
def own_template(tmp_path, monkeypatch):
    """Return a function that makes a notebook of some cells known as "trial"."""
    folder = tmp_path / "notebooks"
    folder.mkdir()

    def make(*sources: str) -> str:
        cells = [new_code_cell('word: str = ""'), *(new_code_cell(source) for source in sources)]
        cells[0].metadata["tags"] = ["parameters"]
        nbformat.write(new_notebook(cells=cells), folder / "trial.ipynb")
        return "trial"

    monkeypatch.setattr(notebook, "TEMPLATES", {"trial": ("word",)})
    monkeypatch.setattr(notebook, "notebook_folder", lambda: folder)
    return make


class TestParameters:
    @pytest.mark.parametrize(
        ("name", "parameters", "words"),
        [
            ("qualification_rekord", {}, "qualification_record"),
            ("../notebooks/qualification_record", {}, "unknown"),
            ("qualification_record", {"record_foldr": "x"}, "did you mean record_folder"),
            ("qualification_record", {"schedule": "x"}, "record_folder, record_sha256"),
            ("qualification_record", {"record_folder": Path()}, "text"),
        ],
    )
    def test_wrong_ones_are_refused_before_anything_runs(self, tmp_path, name, parameters, words):
        with pytest.raises(InputError, match=words):
            run_template(name, parameters=parameters, output=tmp_path / "out.ipynb")
        assert list(tmp_path.iterdir()) == []

    def test_arrive_exactly(self, tmp_path, own_template):
        word = "yes 0010 1e-3 'quoted\" \\ = {x} \u00b5m"
        name = own_template("print(repr(word))")
        path = run_template(name, parameters={"word": word}, output=tmp_path / "out.ipynb")
        assert _printed(path) == repr(word) + "\n"


def _printed(path: Path) -> str:
    cells = nbformat.read(path, as_version=4).cells
    return "".join(o.text for cell in cells for o in cell.get("outputs", ()) if "text" in o)


class TestEnvironment:
    def test_runs_this_interpreter_whatever_lies_in_the_home_folder(
        self, tmp_path, own_template, monkeypatch
    ):
        home = tmp_path / "home"
        spec = home / ".local/share/jupyter/kernels/python3/kernel.json"
        spec.parent.mkdir(parents=True)
        spec.write_text('{"argv": ["false"], "display_name": "x", "language": "python"}')
        startup = home / ".ipython/profile_default/startup/00.py"
        startup.parent.mkdir(parents=True)
        startup.write_text("import builtins; builtins.startup_file_ran = True")
        monkeypatch.setenv("HOME", str(home))
        monkeypatch.setenv("JUPYTER_PATH", str(home / ".local/share/jupyter"))
        name = own_template(
            "import builtins, sys; print(sys.prefix, hasattr(builtins, 'startup_file_ran'))"
        )
        path = run_template(name, parameters={}, output=tmp_path / "out.ipynb")
        assert _printed(path) == f"{sys.prefix} False\n"

    @pytest.mark.parametrize("home", [None, "/nonexistent"])
    def test_needs_no_home_folder(self, tmp_path, own_template, monkeypatch, home):
        if home is None:
            monkeypatch.delenv("HOME")
        else:
            monkeypatch.setenv("HOME", home)
        name = own_template("import matplotlib; print(matplotlib.get_backend())")
        path = run_template(name, parameters={}, output=tmp_path / "out.ipynb")
        assert "inline" in _printed(path)

    def test_leaves_the_environment_and_the_folder_of_the_caller_alone(
        self, tmp_path, own_template
    ):
        before, where = dict(os.environ), Path.cwd()
        name = own_template("import os; print(os.getcwd())")
        path = run_template(name, parameters={}, output=tmp_path / "out.ipynb")
        assert dict(os.environ) == before
        assert Path.cwd() == where
        worked_in = Path(_printed(path).strip())
        assert worked_in != where
        assert not worked_in.exists()

    def test_another_version_or_environment_stops_the_notebook(self):
        check_environment("", "")
        check_environment(notebook.__version__, sys.prefix)
        for version, prefix in (("0.0.0", sys.prefix), (notebook.__version__, "/other")):
            with pytest.raises(WeldcalcError, match="the caller"):
                check_environment(version, prefix)

    def test_is_silent_and_tells_the_answer(self, tmp_path):
        code = (
            "import sys; from pathlib import Path; from weldcalc.notebook import run_template\n"
            "run_template('recheck_a_record', parameters={'record_folder': sys.argv[1]},"
            " output=Path(sys.argv[2]))"
        )
        record = str(copied_example(tmp_path))
        done = subprocess.run(
            [sys.executable, "-W", "error", "-c", code, record, str(tmp_path / "out.ipynb")],
            capture_output=True,
            text=True,
            check=False,
        )
        assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
        assert "reproduced" in (tmp_path / "out.ipynb").read_text(encoding="utf-8")


class TestFailure:
    def test_is_one_line_and_the_notebook_is_kept_under_another_name(self, tmp_path, own_template):
        name = own_template("raise ValueError('wall\\nis too thin')", "print('never')")
        with pytest.raises(NotebookError) as caught:
            run_template(name, parameters={}, output=tmp_path / "out.ipynb")
        told = str(caught.value)
        assert "ValueError: wall is too thin" in told
        assert "\n" not in told
        (kept,) = tmp_path.glob("*.ipynb")
        assert re.fullmatch(r"FAILED-[0-9a-f]{8}\.ipynb", kept.name)
        assert kept.name in told

    def test_kernel_that_dies_is_told(self, tmp_path, own_template):
        name = own_template("import os; os._exit(1)")
        with pytest.raises(NotebookError, match=r"[Kk]ernel"):
            run_template(name, parameters={}, output=tmp_path / "out.ipynb")
        assert not (tmp_path / "out.ipynb").exists()

    def test_cell_that_never_ends_is_stopped(self, tmp_path, own_template):
        name = own_template("while True: pass")
        with pytest.raises(NotebookError, match=r"[Tt]ime"):
            run_template(name, parameters={}, output=tmp_path / "out.ipynb", timeout=1.0)


class TestShippedNotebooks:
    def test_those_that_are_declared_are_those_that_exist(self):
        assert {path.stem for path in notebook_folder().glob("*.ipynb")} >= set(TEMPLATES)

    @pytest.mark.parametrize("name", ["qualification_record", "recheck_a_record"])
    def test_are_thin_and_clean(self, name):
        content = nbformat.read(notebook_folder() / f"{name}.ipynb", as_version=4)
        cells = [cell for cell in content.cells if cell.cell_type == "code"]
        assert len(cells) <= 15
        assert all(len(cell.source.splitlines()) <= 10 for cell in cells)
        assert all(not cell.outputs and cell.execution_count is None for cell in cells)
        assert not any(re.search(r"^\s*(def|class|lambda)\b", c.source, re.M) for c in cells)
        assert set(content.metadata) <= {"kernelspec", "language_info"}
        assert content.metadata.kernelspec.name == "python3"
        # a number with a decimal point would be physics
        assert not any(re.search(r"\d\.\d", cell.source) for cell in cells)

    @pytest.mark.parametrize("name", ["qualification_record", "recheck_a_record"])
    def test_parameters_are_plain_texts_and_those_declared(self, name):
        content = nbformat.read(notebook_folder() / f"{name}.ipynb", as_version=4)
        (cell,) = [c for c in content.cells if "parameters" in c.metadata.get("tags", ())]
        lines = cell.source.splitlines()
        assert all(PARAMETER.fullmatch(line) for line in lines)
        declared = {*TEMPLATES[name], "expected_version", "expected_prefix"}
        assert {line.partition(":")[0] for line in lines} == declared

    def test_record_notebook_refuses_another_record(self, tmp_path):
        parameters = {"record_folder": str(copied_record(tmp_path)), "record_sha256": "0" * 64}
        with pytest.raises(NotebookError, match=r"InputError: .*asked for"):
            run_template(
                "qualification_record", parameters=parameters, output=tmp_path / "out.ipynb"
            )


class TestOwnKernel:
    @pytest.mark.parametrize("early", [False, True])
    def test_ends_with_its_folder_whatever_happens(self, early):
        running = []

        def interrupted() -> None:
            with own_kernel.own_kernel(early=early) as kernel:
                running.extend([kernel.manager.provisioner.process, kernel.folder])
                assert running[0].poll() is None
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            interrupted()
        process, folder = running
        assert process.poll() is not None
        assert not folder.exists()

    def test_of_a_user_without_a_home_keeps_matplotlib_in_its_own_folder(
        self, tmp_path, monkeypatch
    ):
        def homeless() -> Path:
            raise RuntimeError("Could not determine home directory.")

        monkeypatch.delenv("MPLCONFIGDIR", raising=False)
        monkeypatch.setattr(own_kernel.Path, "home", homeless)
        assert own_kernel._places(tmp_path)["MPLCONFIGDIR"] == str(tmp_path / "matplotlib")

    def test_that_loads_early_has_the_modules_before_the_first_cell(self, tmp_path, own_template):
        name = own_template(
            "import sys; print({'weldcalc.plots', 'scipy.stats'} <= {*sys.modules})"
        )
        with own_kernel.own_kernel(early=True) as kernel:
            path = run_template(name, parameters={}, output=tmp_path / "out.ipynb", kernel=kernel)
        assert _printed(path) == "True\n"


class TestFullRecord:
    def test_is_whole_without_a_kernel(self, tmp_path, monkeypatch):
        def no_kernel(folder: Path, *, early: bool) -> None:
            raise ModuleNotFoundError("No module named 'ipykernel'")

        monkeypatch.setattr(own_kernel, "_manager", no_kernel)
        written = write_full_record(write_schedule(tmp_path), folder=tmp_path / "record")
        assert "No module named 'ipykernel'" in written.notes[0]
        assert read_record(written.folder)["number"] == "TEST-1"
        assert (written.folder / "setup_card.pdf").is_file()

    def test_that_cannot_be_computed_leaves_no_kernel_behind(self, tmp_path, monkeypatch):
        started = []

        def kept(*arguments, **options):
            started.append(made := make_manager(*arguments, **options))
            return made

        make_manager = own_kernel._manager
        monkeypatch.setattr(own_kernel, "_manager", kept)
        schedule = write_schedule(tmp_path)
        schedule.write_text(schedule.read_text(encoding="utf-8") + "\n[joint]\n", encoding="utf-8")
        with pytest.raises(InputError):
            write_full_record(schedule, folder=tmp_path / "record")
        (manager,) = started
        assert not manager.has_kernel

    def test_holds_data_and_all_views(self):
        names = {path.name for path in full_record().iterdir()}
        assert names == {
            "inputs",
            "record.json",
            "sign_off_form.toml",
            "record.ipynb",
            "record.html",
            "setup_card.pdf",
            "pulses.csv",
        }

    def test_executed_notebook_names_the_record_and_no_passing_folder(self):
        text = (full_record() / "record.ipynb").read_text(encoding="utf-8")
        assert data_of(full_record())["record_sha256"] in text
        assert "unfinished" not in text
        assert '"papermill"' not in text
        assert str(full_record().resolve()) in text


def test_copies_are_ready_to_use_and_never_overwrite(tmp_path):
    copied = copy_notebooks(tmp_path / "mine")
    assert {path.name for path in copied} >= {f"{name}.ipynb" for name in TEMPLATES}
    names = {path.name for path in copied}
    for path in copied:  # a file that another one tells to start from lies beside it
        if path.suffix == ".toml":
            named = set(re.findall(r"[\w./]+_template\.toml", path.read_text("utf-8")))
            assert named <= names, path.name
    assert "acceptance_template.toml" in names
    assert any(path.suffix == ".toml" for path in copied)
    with pytest.raises(InputError, match="keep your work"):
        copy_notebooks(tmp_path / "mine")
