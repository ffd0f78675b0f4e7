"""Every shipped notebook: thin, stored without outputs, and running through on a small job."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

import nbformat
import pytest
from record_samples import copied_record

from weldcalc.notebook import (
    TEMPLATES,
    NotebookError,
    copy_notebooks,
    notebook_folder,
    run_template,
)

NAMES = sorted(path.stem for path in notebook_folder().glob("*.ipynb"))

# what each notebook is given for a small job; one that is missing here fails below
JOBS: Mapping[str, Callable[[Path], dict[str, str]]] = {
    "draft_a_schedule": lambda folder: {},
    "model_check": lambda folder: {},
    "overlap_and_speed": lambda folder: {"pass_name": "cover"},
    "qualification_record": lambda folder: {"record_folder": str(copied_record(folder))},
    "recheck_a_record": lambda folder: {"record_folder": str(copied_record(folder))},
}


@cache
def stored(name: str) -> nbformat.NotebookNode:
    return nbformat.read(notebook_folder() / f"{name}.ipynb", as_version=4)


def code_cells(name: str) -> list[nbformat.NotebookNode]:
    return [cell for cell in stored(name).cells if cell.cell_type == "code"]


def test_every_notebook_is_declared_and_has_a_job():
    assert set(NAMES) == set(TEMPLATES)
    assert set(NAMES) <= set(JOBS)


@pytest.mark.parametrize("name", NAMES)
class TestStored:
    def test_without_outputs_and_traces_of_a_machine(self, name):
        cells = code_cells(name)
        assert all(not cell.outputs and cell.execution_count is None for cell in cells)
        assert set(stored(name).metadata) <= {"kernelspec", "language_info"}
        assert not re.search(r"/home/|/tmp/|C:\\\\", nbformat.writes(stored(name)))

    def test_thin(self, name):
        cells = code_cells(name)
        assert len(cells) <= 15
        assert all(len(cell.source.splitlines()) <= 10 for cell in cells)
        defined = sum(len(re.findall(r"^\s*(?:def|class)\b", c.source, re.M)) for c in cells)
        assert defined <= 1

    def test_without_physics_in_literals(self, name):
        assert not any(re.search(r"\d\.\d|\de-?\d", cell.source) for cell in code_cells(name))

    def test_begins_with_words_for_people_or_with_its_parameters(self, name):
        first = stored(name).cells[0]
        assert first.cell_type == "markdown" or "parameters" in first.metadata.get("tags", ())


@pytest.mark.parametrize("name", NAMES)
def test_runs_from_first_to_last_cell_without_a_warning(tmp_path, name):
    path = run_template(name, parameters=JOBS[name](tmp_path), output=tmp_path / "run.ipynb")
    cells = [cell for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code"]
    assert all(cell.execution_count for cell in cells if cell.source.strip())
    streams = [out for cell in cells for out in cell.outputs if out.output_type == "stream"]
    assert [out.text for out in streams if out.name == "stderr"] == []
    assert any(
        out.output_type in ("display_data", "execute_result") for c in cells for out in c.outputs
    )


def test_drafts_are_not_computed_for_a_name_that_is_taken(tmp_path):
    taken = tmp_path / "mine.toml"
    taken.write_text("", encoding="utf-8")
    output = tmp_path / "run.ipynb"
    with pytest.raises(NotebookError, match="exists already; choose a new name"):
        run_template("draft_a_schedule", parameters={"output_file": str(taken)}, output=output)
    [reached] = [path for path in tmp_path.glob("*.ipynb") if path != output]
    cells = nbformat.read(reached, as_version=4).cells
    assert not any("draft(wanted)" in cell.source and cell.get("execution_count") for cell in cells)
    assert taken.read_text(encoding="utf-8") == ""


def test_trainee_notebook_runs_in_the_folder_of_the_copies(tmp_path, monkeypatch):
    copied = copy_notebooks(tmp_path / "mine")
    schedule = next(path for path in copied if path.name == "level_gauge_stem.toml")
    path = run_template(
        "overlap_and_speed",
        parameters={"schedule_file": str(schedule)},
        output=tmp_path / "mine" / "run.ipynb",
    )
    assert "Box(children=" in path.read_text(encoding="utf-8")


def test_a_misspelt_file_is_told_in_one_line(tmp_path):
    with pytest.raises(NotebookError, match="no such file"):
        run_template(
            "overlap_and_speed",
            parameters={"schedule_file": "onw.toml"},
            output=tmp_path / "run.ipynb",
        )
    [failed] = tmp_path.glob("FAILED-*.ipynb")
    outputs = [out for cell in nbformat.read(failed, 4).cells for out in cell.get("outputs", ())]
    [error] = [out for out in outputs if out.output_type == "error"]
    assert error.traceback == [f"InputError: {error.evalue}"]
    assert error.evalue.startswith("onw.toml: there is no such file")


def test_a_record_notebook_without_a_record_says_how_one_is_made(tmp_path):
    parameters = {"record_folder": str(tmp_path / "record")}
    with pytest.raises(NotebookError, match="there is no such folder") as caught:
        run_template("qualification_record", parameters=parameters, output=tmp_path / "run.ipynb")
    assert "weldcalc record SCHEDULE.toml -o FOLDER" in str(caught.value)
    # and whoever opens it reads so before
    assert (
        "weldcalc record SCHEDULE.toml -o record" in stored("qualification_record").cells[0].source
    )


def test_recomputing_is_not_said_to_show_that_nothing_was_altered():
    # altered inputs and a record made anew from them are reproduced as well
    words = " ".join(stored("recheck_a_record").cells[-1].source.split())
    assert "nobody altered" not in words
    assert "the results fit the inputs in this folder" in words
    assert "`record_sha256`" in words
