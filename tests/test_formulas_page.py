"""The table of formulas names what exists, and leaves out nothing that cites a source."""

from __future__ import annotations

import ast
import importlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "formulas.md").read_text(encoding="utf-8")
NAMED = set(re.findall(r"`([a-z_]+(?:\.[a-z_]+)+)`", PAGE))
# what cites a document as such, not a relation it computes with
NO_FORMULA = {"records.fields.record_items"}


def with_references() -> set[str]:
    """Return the public functions of the package whose docstring has a list of references."""
    found = set()
    for path in (ROOT / "weldcalc").rglob("*.py"):
        module = ".".join(path.relative_to(ROOT / "weldcalc").with_suffix("").parts)
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
                continue
            if "References\n---" in (ast.get_docstring(node) or ""):
                found.add(f"{module}.{node.name}")
    return found


@pytest.mark.parametrize("name", sorted(NAMED))
def test_a_named_function_exists(name):
    module, _, last = f"weldcalc.{name}".rpartition(".")
    try:
        importlib.import_module(f"weldcalc.{name}")
    except ModuleNotFoundError:
        assert hasattr(importlib.import_module(module), last)


def test_every_function_with_references_is_on_the_page():
    assert with_references() - NO_FORMULA - NAMED == set()
