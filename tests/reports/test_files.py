"""Files are whole or absent, whatever happens in the middle."""

from __future__ import annotations

import json
import os
import threading
from pathlib import Path

import pytest

from ringwright.models.errors import InputError
from ringwright.reports import files, folder
from ringwright.reports.files import whole_directory, write_bytes, write_text
from ringwright.reports.folder import write_folder
from ringwright.tests.reports import sample


def fill_and_fail(place: Path) -> None:
    with whole_directory(place) as passing:
        write_text(passing / "a.txt", "new")
        raise RuntimeError("in the middle")


def test_text_is_utf8_with_plain_newlines(tmp_path: Path) -> None:
    path = write_text(tmp_path / "a.txt", "Größe\n")
    assert path.read_bytes() == "Größe\n".encode()
    assert sorted(tmp_path.iterdir()) == [path]


def test_an_interrupted_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_text(tmp_path / "plan.json", "old\n")

    def cut_off(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", cut_off)
    with pytest.raises(KeyboardInterrupt):
        write_text(path, "new, but not all of it\n")
    assert path.read_text(encoding="utf-8") == "old\n"
    assert sorted(tmp_path.iterdir()) == [path]


def test_a_full_disk_is_said_and_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"cannot write .*plan\.json: No space left on device; make room"):
        write_text(tmp_path / "plan.json", "x")
    assert list(tmp_path.iterdir()) == []


def test_places_that_cannot_be_written_to_are_said(tmp_path: Path) -> None:
    write_text(tmp_path / "file", "x")
    for path in (tmp_path / "missing" / "a.txt", tmp_path / "file" / "a.txt", tmp_path):
        with pytest.raises(InputError, match="cannot write"):
            write_bytes(path, b"x")
    with pytest.raises(InputError, match="it is a file"), whole_directory(tmp_path / "file"):
        pass
    assert (tmp_path / "file").read_text(encoding="utf-8") == "x"


def test_a_link_is_followed(tmp_path: Path) -> None:
    target = write_text(tmp_path / "target.txt", "old")
    link = tmp_path / "link.txt"
    link.symlink_to(target)
    write_text(link, "new")
    assert link.is_symlink()
    assert target.read_text(encoding="utf-8") == "new"


@pytest.mark.skipif(not Path("/dev/null").is_char_device(), reason="no such device here")
def test_a_device_stays_a_device() -> None:
    write_text("/dev/null", "x")
    assert Path("/dev/null").is_char_device()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with a name here")
def test_a_pipe_is_written_to_where_something_reads_from_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pipe = tmp_path / "pipe.json"
    os.mkfifo(pipe)
    monkeypatch.setattr(files, "PATIENCE_S", 0.05)
    with pytest.raises(InputError, match=r"nothing reads from this pipe; .*name another place"):
        write_text(pipe, "all of it")
    monkeypatch.setattr(files, "PATIENCE_S", 3.0)
    read: list[str] = []
    reader = threading.Timer(0.1, lambda: read.append(pipe.read_text("utf-8")))
    reader.start()
    write_text(pipe, "all of it")
    reader.join()
    assert read == ["all of it"]
    assert pipe.is_fifo()


def test_a_directory_appears_only_when_complete(tmp_path: Path) -> None:
    place = tmp_path / "deep" / "out"
    with pytest.raises(RuntimeError, match="in the middle"):
        fill_and_fail(place)
    assert not place.exists()
    assert list(place.parent.iterdir()) == []
    with whole_directory(place) as passing:
        write_text(passing / "a.txt", "a")
        assert not place.exists()
    assert (place / "a.txt").read_text(encoding="utf-8") == "a"
    assert list(place.parent.iterdir()) == [place]


def test_a_directory_that_is_there_keeps_its_other_files(tmp_path: Path) -> None:
    place = tmp_path / "out"
    place.mkdir()
    write_text(place / "notes.txt", "mine")
    write_text(place / "a.txt", "old")
    with pytest.raises(RuntimeError, match="in the middle"):
        fill_and_fail(place)
    assert (place / "a.txt").read_text(encoding="utf-8") == "old"
    with whole_directory(place) as passing:
        write_text(passing / "a.txt", "new")
    assert (place / "a.txt").read_text(encoding="utf-8") == "new"
    assert (place / "notes.txt").read_text(encoding="utf-8") == "mine"
    assert sorted(os.listdir(tmp_path)) == ["out"]


def test_a_folder_without_a_plan_has_no_pictures(tmp_path: Path) -> None:
    paths = write_folder(sample.impossible(), tmp_path / "out")
    assert [path.name for path in paths] == [
        "plan.json",
        "plan.txt",
        "page.html",
        "plans.csv",
        "craft.csv",
        "burns.csv",
        "front.csv",
    ]
    assert all(path.is_file() for path in paths)
    assert json.loads(paths[0].read_text(encoding="utf-8"))["infeasible"]["limit"] == "limits.finish_within_d"


def test_a_folder_that_fails_at_the_pictures_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> list[Path]:
        raise RuntimeError("in the middle")

    monkeypatch.setattr(folder, "draw_all", fails)
    with pytest.raises(RuntimeError, match="in the middle"):
        write_folder(sample.relay(), tmp_path / "out")
    assert list(tmp_path.iterdir()) == []
