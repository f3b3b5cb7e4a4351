import os
import stat

import pytest

from scout.errors import OutputError
from scout.write import write_file


def test_a_file_is_replaced_whole_and_nothing_else_is_left(tmp_path):
    target = tmp_path / "out.csv"
    target.write_text("old")
    write_file(target, "neu: ä")
    assert target.read_bytes() == "neu: ä".encode()
    assert [p.name for p in tmp_path.iterdir()] == ["out.csv"]


def test_a_failure_leaves_the_old_file_whole(tmp_path, monkeypatch):
    target = tmp_path / "out.csv"
    target.write_text("old")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match=r"out\.csv: cannot be written \(No space left on device\)"):
        write_file(target, "new")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out.csv"]


def test_folders_are_named_when_missing_or_in_the_way(tmp_path):
    with pytest.raises(OutputError, match="there is no folder"):
        write_file(tmp_path / "nowhere" / "x.csv", "")
    with pytest.raises(OutputError, match="this is a folder"):
        write_file(tmp_path, "")


def test_permissions_of_an_old_file_are_kept(tmp_path):
    target = tmp_path / "out.csv"
    target.write_text("old")
    target.chmod(0o640)
    write_file(target, "new")
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


def test_bytes_go_out_as_they_are(tmp_path):
    target = tmp_path / "out.kmz"
    write_file(target, b"PK\r\n\x00\xff")
    assert target.read_bytes() == b"PK\r\n\x00\xff"
