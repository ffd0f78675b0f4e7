"""Shipped data are found, proven unchanged, and never read from elsewhere."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest

from weldcalc import reference
from weldcalc.errors import ReferenceDataError
from weldcalc.reference import MANIFEST_NAME, DataFolder
from weldcalc.reference_rows import rows_with_source

SHIPPED = DataFolder(root=reference.data_folder())

# FIPS 180-2 (2002), Secure Hash Standard, appendix B.1: digest of the three letters "abc"
ABC_SHA256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def folder(tmp_path: Path) -> DataFolder:
    root = tmp_path / "reference_data"
    (root / "sub").mkdir(parents=True)
    (root / "sub" / "abc.txt").write_bytes(b"abc")
    (root / "lines.csv").write_bytes(b"a,source\n1,here\n")
    made = DataFolder(root=root)
    assert made.rewrite_manifest() == 2
    return made


@pytest.fixture(scope="module")
def copy_of_shipped(tmp_path_factory: pytest.TempPathFactory) -> DataFolder:
    root = tmp_path_factory.mktemp("copy") / "reference_data"
    shutil.copytree(SHIPPED.root, root)
    return DataFolder(root=root)


def test_manifest_holds_the_published_digest_of_abc(folder: DataFolder) -> None:
    assert folder.manifest()["sub/abc.txt"] == ABC_SHA256
    assert f"{ABC_SHA256}  sub/abc.txt\n" in (folder.root / MANIFEST_NAME).read_text()


def test_manifest_digest_changes_with_any_file(folder: DataFolder) -> None:
    before = folder.manifest_sha256()
    (folder.root / "sub" / "abc.txt").write_bytes(b"abd")
    folder.rewrite_manifest()
    assert folder.manifest_sha256() != before


def test_shipped_manifest_lists_exactly_the_files_that_are_there() -> None:
    assert set(SHIPPED.files()) == set(SHIPPED.manifest())


def test_quoted_hash_is_that_of_the_manifest_file() -> None:
    content = (reference.data_folder() / MANIFEST_NAME).read_bytes()
    assert reference.manifest_sha256() == hashlib.sha256(content).hexdigest()


def test_checkout_comes_first() -> None:
    checkout = Path(reference.__file__).resolve().parent.parent
    if (checkout / "pyproject.toml").is_file():
        assert reference.data_folder() == checkout / "reference_data"
    else:
        assert reference.data_folder().name == "_reference_data"


@pytest.mark.parametrize("name", sorted(SHIPPED.manifest()))
def test_one_changed_byte_is_caught(copy_of_shipped: DataFolder, name: str) -> None:
    path = copy_of_shipped.root / name
    original = path.read_bytes()
    assert copy_of_shipped.read(name) == original
    middle = len(original) // 2
    path.write_bytes(original[:middle] + bytes([original[middle] ^ 1]) + original[middle + 1 :])
    with pytest.raises(ReferenceDataError) as caught:
        copy_of_shipped.read(name)
    path.write_bytes(original)
    (problem,) = caught.value.problems
    found = hashlib.sha256(original).hexdigest()
    assert problem.where == str(path)
    assert f"expected sha256 {found}, found " in problem.why
    assert "restore" in problem.why


def test_message_says_when_only_line_ends_differ(folder: DataFolder) -> None:
    (folder.root / "lines.csv").write_bytes(b"a,source\r\n1,here\r\n")
    with pytest.raises(ReferenceDataError, match="only its line ends differ"):
        folder.read("lines.csv")


def test_file_that_is_not_listed_is_refused(folder: DataFolder) -> None:
    (folder.root / "new.txt").write_text("new")
    with pytest.raises(ReferenceDataError, match=r"not listed.*python -m weldcalc\.reference"):
        folder.read("new.txt")


def test_listed_file_that_is_missing_is_named(folder: DataFolder) -> None:
    (folder.root / "lines.csv").unlink()
    with pytest.raises(ReferenceDataError, match=r"lines\.csv: is listed but missing"):
        folder.read("lines.csv")


def test_missing_manifest_is_named(folder: DataFolder) -> None:
    (folder.root / MANIFEST_NAME).unlink()
    with pytest.raises(ReferenceDataError, match=f"{MANIFEST_NAME}: is missing"):
        folder.manifest()


def test_manifest_of_another_form_is_refused(folder: DataFolder) -> None:
    (folder.root / MANIFEST_NAME).write_text("abc lines.csv\n")
    with pytest.raises(ReferenceDataError, match=f"{MANIFEST_NAME}:1"):
        folder.read("lines.csv")


@pytest.mark.parametrize(
    "relative",
    [
        "",
        "../secret.txt",
        "sub/../../secret.txt",
        "/etc/hosts",
        "..\\secret.txt",
        "sub/../lines.csv",
    ],
)
def test_no_path_leads_out(folder: DataFolder, relative: str) -> None:
    (folder.root.parent / "secret.txt").write_text("secret")
    with pytest.raises(ReferenceDataError, match="relative path"):
        folder.read(relative)


def test_no_link_leads_out(folder: DataFolder) -> None:
    outside = folder.root.parent / "secret.txt"
    outside.write_text("secret")
    (folder.root / "inside.txt").symlink_to(outside)
    folder.rewrite_manifest()
    with pytest.raises(ReferenceDataError, match="inside"):
        folder.read("inside.txt")


def test_hidden_files_are_no_data(folder: DataFolder) -> None:
    (folder.root / ".cache").mkdir()
    (folder.root / ".cache" / "x").write_text("x")
    (folder.root / "sub" / ".swap").write_text("x")
    assert folder.files() == ("lines.csv", "sub/abc.txt")


def test_listing_and_content() -> None:
    names = reference.listed("materials", ".toml")
    assert "materials/ti_gr2.toml" in names
    path = reference.data_folder() / "materials/ti_gr2.toml"
    assert path.read_bytes() == reference.read_bytes("materials/ti_gr2.toml")


def test_read_toml() -> None:
    assert reference.read_toml("materials/ti_gr2.toml")["grade"]["name"] == "Ti Grade 2"
    with pytest.raises(ReferenceDataError, match="cannot be read as TOML"):
        reference.read_toml("README.md")


def _package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    package = tmp_path / "site" / "weldcalc"
    package.mkdir(parents=True)
    monkeypatch.setattr(reference, "_PACKAGE", package)
    reference._folder.cache_clear()
    return package


@pytest.fixture
def fresh_look_up() -> object:
    reference._folder.cache_clear()
    yield None
    reference._folder.cache_clear()


def _fill(root: Path) -> None:
    root.mkdir()
    (root / "abc.txt").write_bytes(b"abc")
    DataFolder(root=root).rewrite_manifest()


@pytest.mark.usefixtures("fresh_look_up")
class TestWhereItLooks:
    def test_packaged_copy_serves_without_a_checkout(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        package = _package(tmp_path, monkeypatch)
        _fill(package / "_reference_data")
        assert reference.data_folder() == package / "_reference_data"

    def test_stray_folder_beside_an_installed_package_is_ignored(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        package = _package(tmp_path, monkeypatch)
        _fill(package / "_reference_data")
        _fill(package.parent / "reference_data")
        assert reference.data_folder() == package / "_reference_data"

    def test_checkout_wins_over_a_frozen_copy(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        package = _package(tmp_path, monkeypatch)
        (package.parent / "pyproject.toml").write_text("")
        _fill(package / "_reference_data")
        _fill(package.parent / "reference_data")
        assert reference.data_folder() == package.parent / "reference_data"

    def test_nothing_found_names_both_places(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        package = _package(tmp_path, monkeypatch)
        with pytest.raises(ReferenceDataError) as caught:
            reference.manifest_sha256()
        assert str(package / "_reference_data") in str(caught.value)
        assert str(package.parent / "reference_data") in str(caught.value)

    def test_command_rewrites_the_manifest_of_a_checkout_only(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        package = _package(tmp_path, monkeypatch)
        _fill(package.parent / "reference_data")
        assert reference.main() == 2
        assert "no source checkout" in capsys.readouterr().err
        (package.parent / "pyproject.toml").write_text("")
        (package.parent / "reference_data" / "more.txt").write_text("more")
        assert reference.main() == 0
        assert "2 files" in capsys.readouterr().out
        assert "more.txt" in DataFolder(root=package.parent / "reference_data").manifest()


class TestRows:
    def test_rows_carry_their_source_and_line(self) -> None:
        text = "# remark\nname, depth_mm, source\n\na, 0.5, book p. 3\n# more\nb,, paper\n"
        first, second = rows_with_source(text, "t.csv")
        assert first.source == "book p. 3"
        assert first.where == "t.csv:4"
        assert first.number("depth_mm") == 0.5
        assert second.where == "t.csv:6"
        assert second.number("depth_mm") is None
        assert dict(second) == {"name": "b", "depth_mm": "", "source": "paper"}
        assert len(second) == 3

    def test_quoted_commas_stay_in_their_cell(self) -> None:
        (row,) = rows_with_source('a,source\n1,"Smith, 2001"\n', "t.csv")
        assert row.source == "Smith, 2001"

    @pytest.mark.parametrize(
        ("line", "why"),
        [
            ("1,", "has no source"),
            ("1,x,y", "has 3 cells where the header has 2"),
            ('1,"open', "cannot be read as CSV"),
        ],
    )
    def test_bad_rows_are_named(self, line: str, why: str) -> None:
        with pytest.raises(ReferenceDataError, match=rf"t\.csv:2.*{why}"):
            list(rows_with_source(f"a,source\n{line}\n", "t.csv"))

    def test_column_source_is_needed(self) -> None:
        with pytest.raises(ReferenceDataError, match="has no source"):
            list(rows_with_source("a,b\n1,2\n", "t.csv"))

    def test_text_where_a_number_belongs(self) -> None:
        (row,) = rows_with_source("a,source\nmany,here\n", "t.csv")
        with pytest.raises(ReferenceDataError, match=r't\.csv:2: a = "many"'):
            row.number("a")
