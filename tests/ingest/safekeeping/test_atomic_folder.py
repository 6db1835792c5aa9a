"""Files that nobody else may read are at no moment there for others, nor half written."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from ingest.safekeeping.atomic_folder import write_private


def test_a_private_file_is_closed_to_others_before_it_has_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[tuple[int, int, bytes]] = []

    def replace(written: Path, place: Path, move=os.replace) -> None:  # type: ignore[no-untyped-def]
        seen.append(
            (
                stat.S_IMODE(written.stat().st_mode),
                stat.S_IMODE(written.parent.stat().st_mode),
                written.read_bytes(),
            )
        )
        move(written, place)

    monkeypatch.setattr(os, "replace", replace)
    before = os.umask(0)
    try:
        write_private(tmp_path / "key", b"a secret")
    finally:
        os.umask(before)
    assert seen == [(0o600, 0o700, b"a secret")]
    assert [(path.name, stat.S_IMODE(path.stat().st_mode)) for path in tmp_path.iterdir()] == [("key", 0o600)]


def test_a_private_file_that_cannot_be_written_leaves_the_one_that_was_there_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_private(tmp_path / "key", b"the first")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_private(tmp_path / "key", b"the second")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"key": b"the first"}
