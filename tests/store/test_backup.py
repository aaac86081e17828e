from __future__ import annotations

import hashlib
import io
import json
import shutil
import tarfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wearvision.errors import BadInput, BrokenRecord, WearvisionError
from wearvision.store import backup as module
from wearvision.store.backup import backup, restore
from wearvision.store.blobs import Blobs
from wearvision.store.chain import Chain
from wearvision.store.db import LEDGER_FILE, open_store
from wearvision.store.event import Event


def content(folder: Path) -> tuple[list[Event], dict[str, bytes]]:
    with open_store(folder, create=False) as store:
        blobs = Blobs(store=store)
        assert Chain(store=store).verify().sound
        assert blobs.verify_all().sound
        return list(Chain(store=store).events()), {blob.name: blobs.get(blob.sha256) for blob in blobs.all()}


@pytest.fixture(scope="session")
def saved_once(filled_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("saved") / "saved.tar"
    backup(filled_once, file)
    return file


Members = list[tuple[tarfile.TarInfo, bytes]]


def members(file: Path) -> Members:
    with tarfile.open(file) as tar:
        return [(info, tar.extractfile(info).read()) for info in tar]  # type: ignore[union-attr]  # all are files


def write(file: Path, parts: Members) -> Path:
    with tarfile.open(file, "w", format=tarfile.GNU_FORMAT) as tar:
        for info, data in parts:
            info.size = len(data)
            tar.addfile(info, io.BytesIO(data))
    return file


def edited(parts: Members, change: Callable[[dict[str, Any]], None]) -> Members:
    """The same members under a changed manifest, spelt as the program spells it."""
    fields = json.loads(parts[0][1])
    change(fields)
    text = (json.dumps(fields, sort_keys=True, indent=1) + "\n").encode()
    return [(parts[0][0], text), *parts[1:]]


def test_a_round_trip_loses_nothing(filled: Path, tmp_path: Path, at: datetime) -> None:
    made = backup(filled, tmp_path / "b.tar")
    assert restore(tmp_path / "b.tar", tmp_path / "again") == made
    assert content(tmp_path / "again") == content(filled)
    with open_store(tmp_path / "again") as store:  # and it goes on from there
        assert Chain(store=store).append("a", "", {}, at).seq == 41
        assert Chain(store=store).verify().sound
    assert sorted(p.name for p in tmp_path.iterdir()) == ["again", "b.tar", "filled"]


def test_an_empty_store_and_an_empty_folder_will_do(tmp_path: Path) -> None:
    open_store(tmp_path / "new").close()
    (tmp_path / "again").mkdir()
    backup(tmp_path / "new", tmp_path / "b.tar")
    restore(tmp_path / "b.tar", tmp_path / "again")
    assert content(tmp_path / "again") == ([], {})


def test_the_same_content_gives_the_same_bytes(filled: Path, tmp_path: Path) -> None:
    backup(filled, tmp_path / "1.tar")
    backup(filled, tmp_path / "2.tar")
    assert (tmp_path / "1.tar").read_bytes() == (tmp_path / "2.tar").read_bytes()
    infos = [info for info, _ in members(tmp_path / "1.tar")]
    assert [info.name for info in infos[:3]] == ["manifest.json", "head.json", LEDGER_FILE]
    assert [info.name for info in infos[3:]] == sorted(info.name for info in infos[3:])
    assert {(info.mtime, info.uid, info.uname) for info in infos} == {(0, 0, "")}


def test_an_open_store_with_fresh_events_is_saved_as_it_is(filled: Path, tmp_path: Path, at: datetime) -> None:
    with open_store(filled) as store:
        Chain(store=store).append("a", "", {"fresh": True}, at)  # still in the log beside the database
        backup(filled, tmp_path / "b.tar")
        Chain(store=store).append("a", "", {"later": True}, at)
    restore(tmp_path / "b.tar", tmp_path / "again")
    assert len(content(tmp_path / "again")[0]) == 41


def test_a_backup_never_replaces_a_file(filled: Path, tmp_path: Path) -> None:
    (tmp_path / "b.tar").write_text("precious")
    with pytest.raises(BadInput, match="never replaces"):
        backup(filled, tmp_path / "b.tar")
    assert (tmp_path / "b.tar").read_text() == "precious"


def test_a_backup_of_nothing_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no ledger"):
        backup(tmp_path / "typo", tmp_path / "b.tar")
    assert list(tmp_path.iterdir()) == []


def test_no_backup_is_made_of_a_broken_store(filled: Path, tmp_path: Path, tamper: Callable[..., None]) -> None:
    tampered = Path(shutil.copytree(filled, tmp_path / "tampered"))
    tamper(tampered, "DELETE FROM events WHERE seq > 35")
    with pytest.raises(BrokenRecord):
        backup(tampered, tmp_path / "b.tar")
    for spoil in (lambda p: p.write_bytes(b"x" * p.stat().st_size), lambda p: p.write_bytes(b""), Path.unlink):
        spoilt = Path(shutil.copytree(filled, tmp_path / "spoilt"))
        spoil(next(spoilt.glob("blobs/*/*")))
        with pytest.raises(BrokenRecord):
            backup(spoilt, tmp_path / "b.tar")
        shutil.rmtree(spoilt)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["filled", "tampered"]
    assert list((tampered / "tmp").iterdir()) == []


@pytest.mark.parametrize("error", [KeyboardInterrupt(), OSError(28, "No space left on device")])
def test_an_interrupted_backup_leaves_no_file(
    filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    def stop(*_: object) -> None:
        raise error

    monkeypatch.setattr(module, "_add", stop)
    with pytest.raises((KeyboardInterrupt, BadInput)):
        backup(filled, tmp_path / "b.tar")
    assert [p.name for p in tmp_path.iterdir()] == ["filled"]
    assert list((filled / "tmp").iterdir()) == []


def test_only_an_empty_folder_is_restored_into(saved_once: Path, filled: Path) -> None:
    before = content(filled)
    with pytest.raises(BadInput, match="empty folder"):
        restore(saved_once, filled)
    assert content(filled) == before


def refused(file: Path, tmp_path: Path) -> WearvisionError:
    """Restoring fails in one line and leaves no trace."""
    place = tmp_path / "place"
    place.mkdir()
    with pytest.raises(WearvisionError) as caught:
        restore(file, place / "again")
    assert list(place.iterdir()) == []
    assert "\n" not in str(caught.value)
    place.rmdir()
    return caught.value


@pytest.mark.parametrize("data", [b"", b"no tar", b"\0" * 10240, b"x" * 10240])
def test_what_is_no_backup_is_refused(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "b.tar").write_bytes(data)
    refused(tmp_path / "b.tar", tmp_path)
    assert isinstance(refused(tmp_path / "missing.tar", tmp_path), BadInput)


@pytest.mark.parametrize(
    "name",
    ["../evil", "/evil", "blobs/../../evil", "blobs/ab/../evil", "tmp/x", "blobs\\x", f"blobs/ab/{'0' * 64}/x"],
)
def test_a_name_that_leads_elsewhere_is_refused(saved_once: Path, tmp_path: Path, name: str) -> None:
    evil = {"name": name, "sha256": hashlib.sha256(b"x").hexdigest(), "size_bytes": 1}
    parts = edited(members(saved_once), lambda fields: fields["members"].append(evil))
    refused(write(tmp_path / "b.tar", [*parts, (tarfile.TarInfo(name), b"x")]), tmp_path)
    assert not list(tmp_path.rglob("evil"))


@pytest.mark.parametrize("kind", [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.DIRTYPE, tarfile.FIFOTYPE, tarfile.CHRTYPE])
@pytest.mark.parametrize("index", [0, 1, 2, 3])
def test_links_and_devices_are_refused(saved_once: Path, tmp_path: Path, kind: bytes, index: int) -> None:
    parts = members(saved_once)
    parts[index][0].type, parts[index][0].linkname = kind, "/etc/passwd"
    parts[index] = (parts[index][0], b"")
    refused(write(tmp_path / "b.tar", parts), tmp_path)


def test_missing_surplus_doubled_and_reordered_members_are_refused(saved_once: Path, tmp_path: Path) -> None:
    def parts() -> Members:
        return members(saved_once)

    surplus = (tarfile.TarInfo("surplus"), b"x")
    for wrong in (
        parts()[:-1],
        parts()[1:],
        [*parts(), surplus],
        [*parts(), parts()[-1]],
        [parts()[0], *reversed(parts()[1:])],
        edited(parts(), lambda f: f["members"].append(f["members"][-1])),
        edited(parts()[:-1], lambda f: f["members"].pop()),
        edited([parts()[0], *parts()[2:]], lambda f: f["members"].pop(0)),
        edited([*parts()[:2], *parts()[3:]], lambda f: f["members"].pop(1)),
        edited(parts(), lambda f: f["head"].update(seq=39)),
        edited(parts(), lambda f: f.update(more=1)),
    ):
        refused(write(tmp_path / "b.tar", wrong), tmp_path)


def test_a_tampered_ledger_in_a_well_made_archive_is_refused(
    filled: Path, saved_once: Path, tmp_path: Path, tamper: Callable[..., None]
) -> None:
    tamper(filled, "UPDATE events SET payload = '{}' WHERE seq = 9")
    data = (filled / LEDGER_FILE).read_bytes()
    parts = members(saved_once)
    new = {"sha256": hashlib.sha256(data).hexdigest(), "size_bytes": len(data)}
    parts = edited(parts, lambda f: f["members"][1].update(new))
    parts[2] = (parts[2][0], data)
    assert "event 9" in str(refused(write(tmp_path / "b.tar", parts), tmp_path))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(data=st.data())
def test_a_flipped_byte_is_refused_or_harmless(filled_once: Path, saved_once: Path, tmp_path: Path, data: Any) -> None:
    raw = bytearray(saved_once.read_bytes())
    raw[data.draw(st.integers(0, len(raw) - 1))] ^= data.draw(st.integers(1, 255))
    (tmp_path / "b.tar").write_bytes(bytes(raw))
    shutil.rmtree(tmp_path / "again", ignore_errors=True)
    try:
        restore(tmp_path / "b.tar", tmp_path / "again")
    except WearvisionError:
        assert not (tmp_path / "again").exists()
    else:
        assert content(tmp_path / "again") == content(filled_once)


@pytest.mark.parametrize("share", [0.01, 0.3, 0.7, 0.93])
def test_a_backup_cut_short_is_refused(saved_once: Path, tmp_path: Path, share: float) -> None:
    data = saved_once.read_bytes()
    (tmp_path / "b.tar").write_bytes(data[: int(len(data) * share)])
    refused(tmp_path / "b.tar", tmp_path)
