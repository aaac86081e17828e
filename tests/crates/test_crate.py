"""What a crate folder holds, and whose facts win."""

from __future__ import annotations

import os
import unicodedata
from dataclasses import fields
from pathlib import Path

import pytest

from wearvision.crates.crate import read_crate
from wearvision.crates.facts import Facts
from wearvision.crates.journal import RESULTS
from wearvision.errors import BadInput
from wearvision.stated import NOMINALS, Stated

JPEG = b"\xff\xd8\xff\xe0 not really"
HEIC = b"\0\0\0\x18ftypheic"


def fill(folder: Path, *names: str, data: bytes = JPEG) -> Path:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return folder


def names(folder: Path) -> list[str]:
    return [photo.name for photo in read_crate(folder).photos]


def test_every_fact_can_be_stated_in_a_crate() -> None:
    flat = {"kind" if f.name == "part_kind" else f.name for f in fields(Stated)} - {"nominal"}
    assert set(Facts.model_fields) == flat | set(NOMINALS)


def test_photos_are_told_by_ending_or_first_bytes_and_tagged_by_folder(tmp_path: Path) -> None:
    fill(tmp_path, "C-1/a.JPG", "C-1/deep/b.jpeg", "I 2/é ü.png", "loose.HeIc", "C-1/IMG_0001")
    fill(tmp_path, "C-1/no_ending", data=HEIC)
    fill(tmp_path, "C-1/._a.JPG", ".trash/x.jpg", "out/board.png", "out/deep/board.png", f"out/{RESULTS}")
    fill(tmp_path, "C-1/notes.txt", "list.csv", "C-1/empty", data=b"")
    crate = read_crate(tmp_path)
    assert [(p.name, p.tag) for p in crate.photos] == [
        ("C-1/IMG_0001", "C-1"), ("C-1/a.JPG", "C-1"), ("C-1/deep/b.jpeg", "C-1"), ("C-1/no_ending", "C-1"),
        ("I 2/é ü.png", "I 2"), ("loose.HeIc", ""),
    ]  # fmt: skip
    assert crate.parts == ("C-1", "I 2")
    assert crate.name == tmp_path.name
    assert crate.refused == ()
    assert all(photo.path.is_file() for photo in crate.photos)


def test_links_that_leave_and_things_that_are_no_files_are_refused_by_name(tmp_path: Path) -> None:
    crate = fill(tmp_path / "crate", "a.jpg", "sub/b.jpg")
    outside = fill(tmp_path / "outside", "secret.jpg")
    (crate / "out.jpg").symlink_to(outside / "secret.jpg")
    (crate / "in.jpg").symlink_to(crate / "a.jpg")
    (crate / "gone.jpg").symlink_to(crate / "nothing.jpg")
    (crate / "loop").symlink_to(crate)
    os.mkfifo(crate / "pipe.jpg")
    found = read_crate(crate)
    assert [photo.name for photo in found.photos] == ["a.jpg", "in.jpg", "sub/b.jpg"]
    assert found.refused == (
        ("gone.jpg", "not a file"), ("loop", "a link to a folder is not followed"),
        ("out.jpg", "a link that leaves the crate is not followed"), ("pipe.jpg", "not a file"),
    )  # fmt: skip


def test_a_folder_that_cannot_be_read_is_refused_by_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(tmp_path, "a.jpg", "shut/b.jpg")
    real = os.scandir

    def shut(path: str) -> object:
        if str(path).endswith("shut"):
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)

    monkeypatch.setattr(os, "scandir", shut)  # file rights do not bind the superuser tests may run as
    crate = read_crate(tmp_path)
    assert [photo.name for photo in crate.photos] == ["a.jpg"]
    assert crate.refused == (("shut", "this folder cannot be read (Permission denied)"),)


def test_the_more_special_fact_wins(tmp_path: Path) -> None:
    fill(tmp_path, "C-1/face_a.jpg", "C-1/face_b.jpg", "I-2/x.jpg", "loose.jpg")
    (tmp_path / "crate.toml").write_text(
        """
[crate]
name = "Tuesday"
check_bar_mm = 100.2
card_height_mm = 1
[parts."C-1"]
kind = "casing"
face_inner_diameter_mm = 128.8
card_height_mm = 2.0
[parts."I-3"]
kind = "impeller"
vane_count = 6
[photos."C-1/face_b.jpg"]
card_height_mm = 4.0
[photos."C-1/face_*.jpg"]
view = "gasket-land"
card_height_mm = 3.0
[photos."loose.jpg"]
part = "I-3"
view = "vane-front"
"""
    )
    crate = read_crate(tmp_path)
    assert crate.name == "Tuesday"
    assert crate.parts == ("C-1", "I-2", "I-3")
    a, b, x, loose = crate.photos
    assert a.stated == Stated(
        part_kind="casing", view="gasket-land", card_height_mm=3.0, check_bar_mm=100.2,
        nominal={"face_inner_diameter_mm": 128.8},
    )  # fmt: skip
    assert b.stated.card_height_mm == 4.0
    assert x.stated == Stated(check_bar_mm=100.2, card_height_mm=1.0)
    assert (loose.tag, loose.stated.part_kind, loose.stated.view) == ("I-3", "impeller", "vane-front")
    assert loose.stated.nominal == {"vane_count": 6}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[crate]\nchek_bar_mm = 100.0\n",
         "crate.toml:2: unknown key crate.chek_bar_mm; did you mean check_bar_mm?"),
        ('[crate]\nname = "x"\ncheck_bar_mm = 25.4\n',
         "crate.toml:3: crate.check_bar_mm: measured length of the 100 mm check bar, mm: outside 90 to 110; "
         "check the figure and its unit (got 25.4)"),
        ('[parts.a]\n\nkind = "box"\n',
         "crate.toml:3: parts.a.kind: unknown part kind; "
         "use one of casing, impeller, box-cover, side-plate, ring-pair (got 'box')"),
        ('[photos."a.jpg"]\ncard_height_mm = "4 mm"\n',
         "crate.toml:2: photos.a.jpg.card_height_mm: input should be a valid number (got '4 mm')"),
        ("[crate]\ncard_height_mm = nan\n",
         "crate.toml:2: crate.card_height_mm: card height, mm: outside -200 to 200; "
         "check the figure and its unit (got nan)"),
        ('# x\n[photos."b.jpg"]\n', "crate.toml:2: no photo of that name (got 'b.jpg'); did you mean a.jpg?"),
        ("[crate]\nname = Tuesday\n", "crate.toml:2: not TOML: Invalid value; correct that line"),
        ("[part.a]\n", "crate.toml:1: unknown key part; did you mean parts?"),
        ("crate = 3\n", "crate.toml:1: crate: input should be a valid dictionary (got 3)"),
    ],
)  # fmt: skip
def test_a_slip_in_crate_toml_is_one_line_with_its_place(tmp_path: Path, text: str, said: str) -> None:
    (fill(tmp_path, "a.jpg") / "crate.toml").write_text(text)
    with pytest.raises(BadInput) as err:
        read_crate(tmp_path)
    assert str(err.value) == said


def test_crate_toml_in_another_encoding(tmp_path: Path) -> None:
    (fill(tmp_path, "a.jpg") / "crate.toml").write_bytes(b'[crate]\nname = "caf\xe9"\n')
    with pytest.raises(BadInput, match=r"crate\.toml:2: not UTF-8 text; save it as UTF-8"):
        read_crate(tmp_path)


def test_names_are_compared_in_one_unicode_form(tmp_path: Path) -> None:
    apart, joined = unicodedata.normalize("NFD", "é.jpg"), unicodedata.normalize("NFC", "é.jpg")
    fill(tmp_path, apart)
    (tmp_path / "crate.toml").write_text(f'[photos."{joined}"]\nview = "bore"\n')
    (photo,) = read_crate(tmp_path).photos
    assert (photo.name, photo.stated.view) == (joined, "bore")
    fill(tmp_path, joined)
    assert set(names(tmp_path)) == {apart, joined}


def test_a_name_that_is_no_utf8(tmp_path: Path) -> None:
    (tmp_path / os.fsdecode(b"caf\xe9.jpg")).write_bytes(JPEG)
    (photo,) = read_crate(tmp_path).photos
    assert photo.name == "caf\\xe9.jpg"
    assert photo.path.is_file()


def test_brackets_in_a_name_are_no_pattern(tmp_path: Path) -> None:
    fill(tmp_path, "IMG[1].jpg", "IMG1.jpg")
    (tmp_path / "crate.toml").write_text('[photos."IMG[1].jpg"]\nview = "bore"\n')
    assert [p.stated.view for p in read_crate(tmp_path).photos] == [Stated().view, "bore"]


def test_an_empty_crate_and_none_at_all(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no photos in this folder"):
        read_crate(tmp_path)
    with pytest.raises(BadInput, match="a crate is a folder of photos"):
        read_crate(fill(tmp_path, "a.jpg") / "a.jpg")
    with pytest.raises(BadInput, match="a crate is a folder of photos"):
        read_crate(tmp_path / "none")


def test_a_crate_may_hold_nothing_but_parts_that_come_without_photos(tmp_path: Path) -> None:
    (tmp_path / "crate.toml").write_text('[parts."C-77"]\nkind = "casing"\nwithout_photos = true\n')
    found = read_crate(tmp_path)
    assert (found.photos, found.parts, dict(found.unseen)) == ((), ("C-77",), {"C-77": "casing"})
    (tmp_path / "crate.toml").write_text('[parts."C-77"]\nkind = "casing"\nwithout_photos = "yes"\n')
    with pytest.raises(BadInput, match="without_photos"):
        read_crate(tmp_path)
