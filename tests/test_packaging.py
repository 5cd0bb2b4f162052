"""What is shipped: every package is in the wheel's list, and so are the samples."""

import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
LISTED = PROJECT["tool"]["setuptools"]["packages"]


def packages_below(folder: Path) -> set[str]:
    """Dotted names of all folders below ``folder`` that hold Python files."""
    return {
        ".".join(p.parent.relative_to(folder.parent).parts)
        for p in folder.rglob("*.py")
        if "__pycache__" not in p.parts
    }


def test_every_package_is_listed():
    assert set(LISTED) == packages_below(ROOT / "lotqa") | {"lotqa.sample_measurements"}


def test_the_search_sees_a_package_that_is_not_listed(tmp_path):
    (tmp_path / "lotqa" / "new_room").mkdir(parents=True)
    (tmp_path / "lotqa" / "new_room" / "__init__.py").touch()
    assert packages_below(tmp_path / "lotqa") == {"lotqa.new_room"}


def data_files() -> list[Path]:
    return [
        p
        for p in (ROOT / "lotqa").rglob("*")
        if p.is_file()
        and p.suffix not in {".py", ".pyc"}
        and not any(part.startswith((".", "__pycache__")) for part in p.relative_to(ROOT).parts)
    ]


@pytest.mark.parametrize("path", data_files(), ids=lambda p: p.name)
def test_every_data_file_of_the_package_is_shipped(path):
    package = ".".join(path.relative_to(ROOT).parent.parts)
    patterns = PROJECT["tool"]["setuptools"]["package-data"]
    shipped = {
        found
        for name, globs in patterns.items()
        for pattern in globs
        for found in (ROOT / name.replace(".", "/")).glob(pattern)
    }
    assert path in shipped, f"{package}: no pattern ships {path.name}"


def test_every_sample_file_is_shipped():
    folder = ROOT / "sample_measurements"
    patterns = PROJECT["tool"]["setuptools"]["package-data"]["lotqa.sample_measurements"]
    shipped = {p for pattern in patterns for p in folder.glob(pattern) if p.is_file()}
    samples = {p for p in folder.rglob("*") if p.is_file() and p.parent.name.startswith("20")}
    assert samples
    assert samples <= shipped


def test_every_dependency_has_its_reason():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    reasons = text[text.index("## Why each dependency") :].casefold()
    groups = PROJECT["project"]["optional-dependencies"].values()
    for line in [*PROJECT["project"]["dependencies"], *(d for g in groups for d in g)]:
        name = line.split(">")[0].split("[")[0].casefold()
        assert name in reasons, f"{name} has no reason in DEVELOPERS.md"
