from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import wearvision
from wearvision.errors import BadInput, BrokenRecord
from wearvision.store.blobs import Blobs
from wearvision.store.db import open_store

ROOT = Path(wearvision.__file__).parent.parent


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(data=st.binary(max_size=2000), suffix=st.sampled_from([".jpg", ".png", ""]))
def test_what_is_put_comes_back(blobs: Blobs, data: bytes, suffix: str) -> None:
    sha = blobs.put(data, suffix)
    assert sha == hashlib.sha256(data).hexdigest()
    assert blobs.get(sha) == data
    assert blobs.path(sha).read_bytes() == data
    assert blobs.verify_all().sound


def test_the_same_bytes_are_kept_once(blobs: Blobs) -> None:
    assert blobs.put(b"photo", ".jpg") == blobs.put(b"photo", ".png")
    report = blobs.verify_all()
    assert (report.blobs, report.size_bytes, report.leftovers) == (1, 5, ())
    assert [path.suffix for path in blobs.folder.glob("*/*")] == [".jpg"]


@pytest.mark.parametrize("suffix", ["jpg", ".JPG", "./x", ".tar.gz", "/../x", ".jpg\n", ".toolong123"])
def test_odd_suffixes_are_refused(blobs: Blobs, suffix: str) -> None:
    with pytest.raises(BadInput):
        blobs.put(b"x", suffix)
    assert list(blobs.all()) == []


@pytest.mark.parametrize("sha", ["", "../../etc/passwd", "0" * 64])
def test_an_unknown_hash_is_refused(blobs: Blobs, sha: str) -> None:
    with pytest.raises(BadInput):
        blobs.get(sha)
    with pytest.raises(BadInput):
        blobs.path(sha)


def test_changed_and_missing_files_are_found(blobs: Blobs) -> None:
    one, two, three = (blobs.put(data, ".jpg") for data in (b"one", b"two", b"three"))
    blobs.path(one).write_bytes(b"0ne")
    blobs.path(two).unlink()
    assert {p.where for p in blobs.verify_all().problems} == {f"blob {one}", f"blob {two}"}
    for sha in (one, two):
        with pytest.raises(BrokenRecord):
            blobs.get(sha)
    assert blobs.get(three) == b"three"


def test_putting_again_heals_a_spoilt_file(blobs: Blobs) -> None:
    sha = blobs.put(b"photo", ".jpg")
    blobs.path(sha).write_bytes(b"")
    blobs.put(b"photo", ".jpg")
    assert blobs.get(sha) == b"photo"
    assert blobs.verify_all().sound


def test_leftovers_of_a_killed_write_do_no_harm(blobs: Blobs) -> None:
    sha = hashlib.sha256(b"photo").hexdigest()
    orphan = blobs.folder / sha[:2] / f"{sha}.jpg"
    orphan.parent.mkdir(parents=True)
    orphan.write_bytes(b"photo")  # renamed, but killed before its row
    (blobs.store.folder / "tmp" / "0123.part").write_bytes(b"pho")  # killed before its rename
    report = blobs.verify_all()
    assert report.sound
    assert report.leftovers == (f"{sha[:2]}/{sha}.jpg",)
    assert blobs.put(b"photo", ".jpg") == sha
    assert blobs.verify_all().leftovers == ()
    assert blobs.get(sha) == b"photo"


@pytest.mark.parametrize(
    ("sql", "where"),
    [
        ("UPDATE blobs SET suffix = '.gif' WHERE suffix = '.jpg'", "blob "),
        ("UPDATE blobs SET size_bytes = 1 WHERE suffix = '.jpg'", "blob "),
        ("UPDATE blobs SET sha256 = replace(sha256, 'a', 'b')", "blob "),
        ("UPDATE blobs SET sha256 = '../../../etc/passwd' WHERE suffix = '.jpg'", "blobs"),
        ("UPDATE blobs SET suffix = '/../x' WHERE suffix = '.jpg'", "blobs"),
        ("UPDATE blobs SET size_bytes = 'many' WHERE suffix = '.jpg'", "blobs"),
    ],
)
def test_changed_rows_are_found(filled: Path, tamper: Callable[..., None], sql: str, where: str) -> None:
    tamper(filled, sql)
    with open_store(filled) as store:
        found = Blobs(store=store).verify_all().problems
    assert found
    assert found[0].where.startswith(where)


def test_a_deleted_row_shows_as_a_leftover(filled: Path, tamper: Callable[..., None]) -> None:
    tamper(filled, "DELETE FROM blobs WHERE suffix = '.jpg'")
    with open_store(filled) as store:
        assert len(Blobs(store=store).verify_all().leftovers) == 1


def test_a_blob_folder_that_cannot_be_written_is_one_line(blobs: Blobs) -> None:
    blobs.folder.write_bytes(b"a file where the folder should be")
    with pytest.raises(BadInput, match="photo cannot be kept"):
        blobs.put(b"x", ".jpg")
    assert list(blobs.all()) == []


def test_many_programs_may_put_the_same_photo_at_once(tmp_path: Path) -> None:
    script = """
import sys
from pathlib import Path
from wearvision.store.blobs import Blobs
from wearvision.store.db import open_store
sys.stdin.readline()
with open_store(Path(sys.argv[1]), wait_s=60) as store:
    for i in range(20):
        Blobs(store=store).put(bytes([i]) * 50_000, ".jpg")
"""
    folder = tmp_path / "shared"
    open_store(folder).close()
    programs = [
        subprocess.Popen([sys.executable, "-c", script, str(folder)], cwd=ROOT, stdin=subprocess.PIPE) for _ in range(3)
    ]
    for program in programs:
        assert program.stdin is not None
        program.stdin.close()
    assert [program.wait(60) for program in programs] == [0, 0, 0]
    with open_store(folder) as store:
        report = Blobs(store=store).verify_all()
    assert report.sound
    assert (report.blobs, report.leftovers) == (20, ())
    assert list((folder / "tmp").iterdir()) == []


def test_more_than_a_page_of_blobs(blobs: Blobs, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wearvision.store.blobs.PAGE_ROWS", 4)
    shas = sorted(blobs.put(bytes([i]), ".jpg") for i in range(8))
    assert [blob.sha256 for blob in blobs.all()] == shas
    shutil.rmtree(blobs.folder)
    assert len(blobs.verify_all().problems) == 8
