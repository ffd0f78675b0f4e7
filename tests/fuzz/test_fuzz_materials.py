"""Material files and sign-off files of any kind: taken or refused clearly, never a crash."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

from altered import altered
from harmless import STEM, cases, command, refused, with_file
from hypothesis import given
from hypothesis import strategies as st
from written import broken_value, damaged, toml_text

from weldcalc import reference
from weldcalc.materials import material
from weldcalc.records.sign_off import check_what_is_signed, read_sign_off

METALS: list[dict[str, Any]] = [
    tomllib.loads(reference.read_bytes(f"materials/{name}.toml").decode())
    for name in ("ti_gr2", "ti_gr5", "ss_316l")
]
SIGNED: dict[str, Any] = {
    "computed_sha256": "0" * 64,
    "items": {"6.1": "collet, drawing 12", "7": ""},
    "requirement": [{"text": "invented demand", "evidence": "invented report"}],
    "signature": [
        {"role": "prepared", "name": "A. Nobody", "date": "2026-01-31"},
        {"role": "reviewed", "name": "", "date": ""},
    ],
}


@st.composite
def broken(draw: st.DrawFn, base: dict[str, Any]) -> bytes:
    text = toml_text(draw(altered(base, broken_value | st.floats(1e-12, 1e12))))
    return draw(damaged(text)) if draw(st.booleans()) else text.encode("utf-8", "surrogatepass")


@cases(25)
@given(st.sampled_from(METALS).flatmap(broken))
def test_any_material_file_is_taken_or_refused(content: bytes) -> None:
    def use(path: Path) -> None:
        error = refused(lambda: material(path))
        text = STEM.read_text(encoding="utf-8").replace('"Ti Grade 2"', f'"{path.name}"')
        (path.parent / "with it.toml").write_text(text, encoding="utf-8")
        done = command("estimate", path.parent / "with it.toml", "--instant")
        if error is not None:
            assert str(path) in str(error)
            assert done.exit_code == 2
            assert path.name in done.stderr
            return
        metal = material(path)
        for temperature in (250.0, 293.15, 1000.0, 3000.0):
            for values in (metal.specific_heat, metal.thermal_conductivity, metal.density):
                assert math.isfinite(values(temperature))

    with_file(content, "own metal.toml", use)


@cases(25)
@given(broken(SIGNED))
def test_any_sign_off_file_is_taken_or_refused(content: bytes) -> None:
    try:
        text = content.decode()
    except UnicodeDecodeError:
        return  # refused by whoever read the file
    error = refused(lambda: read_sign_off(text, "signed.toml"))
    if error is not None:
        assert all("signed.toml" in line for line in str(error).splitlines())
        return
    read = read_sign_off(text, "signed.toml")
    assert [one.role for one in read.signatures] == ["prepared", "reviewed", "approved"]
    refused(lambda: check_what_is_signed(read, ["1" * 64], "signed.toml"))
