from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.errors import LotqaError
from lotqa.report import safe_name, write_page


def test_a_plain_lot_code_is_its_own_file_name(tmp_path):
    path = write_page("<p>ä</p>", tmp_path / "reports", "KF-26-0217")
    assert path == tmp_path / "reports" / "KF-26-0217.html"
    assert path.read_text("utf-8") == "<p>ä</p>"


@pytest.mark.parametrize(
    "code",
    ["../../etc/passwd", "/etc/passwd", "C:\\boot", "..", ".", "", "a/b", "nul", "COM1.x", "a\0b",
     "x" * 500, ".hidden", "\ud800", "lot 7\n"],
)  # fmt: skip
def test_no_lot_code_leads_out_of_the_folder(tmp_path, code):
    path = write_page("x", tmp_path, code)
    assert path.parent == tmp_path
    assert path.resolve().parent == tmp_path.resolve()
    assert path.is_file()
    assert not path.name.startswith(".")
    assert len(path.name) < 120
    assert path.stem.lower() not in ("nul", "con")


@given(st.text(max_size=40), st.text(max_size=40))
def test_different_codes_get_different_files(a, b):
    assert (safe_name(a) == safe_name(b)) == (a == b)


@given(st.text(max_size=200))
def test_a_safe_name_is_one_plain_step(code):
    name = safe_name(code)
    assert name
    assert Path(name).name == name
    assert not set(name) & set('/\\:*?"<>|\0\n')


def test_writing_again_replaces_the_page_and_leaves_nothing_beside_it(tmp_path):
    write_page("one", tmp_path, "lot")
    write_page("two", tmp_path, "lot")
    assert [p.name for p in tmp_path.iterdir()] == ["lot.html"]
    assert (tmp_path / "lot.html").read_text() == "two"


def test_a_folder_that_is_a_file_is_named_in_the_message(tmp_path):
    blocked = tmp_path / "reports"
    blocked.write_text("")
    with pytest.raises(LotqaError) as caught:
        write_page("x", blocked, "lot")
    assert str(caught.value) == (
        f"{blocked}: the page lot.html cannot be written (file exists): "
        "choose a folder that you may write to"
    )


def test_a_read_only_folder_is_named_in_the_message(tmp_path, monkeypatch):
    # Permissions do not bind a superuser, so the refusal of the system is played here.
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("tempfile.NamedTemporaryFile", refuse)
    with pytest.raises(LotqaError) as caught:
        write_page("x", tmp_path, "lot")
    assert str(caught.value) == (
        f"{tmp_path}: the page lot.html cannot be written (permission denied): "
        "choose a folder that you may write to"
    )
    assert list(tmp_path.iterdir()) == []


def test_a_failed_replace_leaves_the_old_page_and_no_part(tmp_path, monkeypatch):
    write_page("one", tmp_path, "lot")

    def refuse(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", refuse)
    with pytest.raises(LotqaError, match="no space left on device"):
        write_page("two", tmp_path, "lot")
    assert (tmp_path / "lot.html").read_text() == "one"
    assert [p.name for p in tmp_path.iterdir()] == ["lot.html"]
