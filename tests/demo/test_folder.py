"""The demo never overwrites what it did not write."""

import pytest

from archive.demo import folder
from archive.errors import Trouble


def written(path):
    folder.prepare(path)
    (path / "exports").mkdir()
    (path / "exports" / "a.csv").write_text("a")
    (path / "b.txt").write_text("b")
    folder.sign(path)
    return path


def test_an_untouched_demo_is_written_anew(tmp_path):
    path = written(tmp_path / "demo")
    folder.prepare(path)
    assert list(path.iterdir()) == []


def test_an_empty_folder_is_taken(tmp_path):
    folder.prepare(tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "change",
    [
        lambda p: (p / "exports" / "mine.csv").write_text("mine"),
        lambda p: (p / "b.txt").write_text("c"),
        lambda p: (p / folder.LIST).unlink(),
        lambda p: (p / folder.LIST).write_text("[]"),
        lambda p: (p / folder.LIST).write_text('{"files": 1}'),
        lambda p: (p / "elsewhere").symlink_to(p.parent),
    ],
)
def test_a_folder_with_anything_else_is_left_alone(tmp_path, change):
    path = written(tmp_path / "demo")
    change(path)
    before = sorted(p.name for p in path.rglob("*"))
    with pytest.raises(Trouble) as told:
        folder.prepare(path)
    assert "nothing was touched" in str(told.value)
    assert sorted(p.name for p in path.rglob("*")) == before


def test_a_file_or_a_link_in_the_place_is_left_alone(tmp_path):
    (tmp_path / "file").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path)
    for name in ("file", "link"):
        with pytest.raises(Trouble):
            folder.prepare(tmp_path / name)
    assert (tmp_path / "file").read_text() == "mine"
