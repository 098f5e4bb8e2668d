"""The pressure picture as a file."""

from __future__ import annotations

import struct
from dataclasses import replace

import pytest

from gridmap.errors import InputRefused
from maps.picture import picture_data, pressure_picture
from maps.scene import Scene


def test_picture_is_a_png_of_the_stated_width_and_the_same_every_time(scene, tmp_path):
    data = pressure_picture(scene, tmp_path / "pressure.png").read_bytes()
    # PNG (ISO/IEC 15948:2004) 5.2 and 11.2.2: signature, then IHDR with width and height as big-endian 32 bit numbers.
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", data[16:24])
    assert width == 1600
    assert 600 < height < 1400
    assert pressure_picture(scene, tmp_path / "again.png").read_bytes() == data


def test_picture_says_that_it_is_invented(scene, hostile_scene, tmp_path):
    assert picture_data(scene)["invented"]
    assert not picture_data(replace(scene, invented=False))["invented"]
    assert pressure_picture(hostile_scene, tmp_path / "p.png").stat().st_size > 10_000


def test_picture_before_the_first_walk_and_without_threshold(scene, tmp_path):
    assert pressure_picture(Scene(grove="Bare", blocks=scene.blocks, trees=scene.trees), tmp_path / "a.png").is_file()
    plain = replace(
        scene,
        threshold=None,
        pressure=scene.pressure.assign(chance_over=float("nan")),
        hot_spots=scene.hot_spots.iloc[:0],
    )
    assert pressure_picture(plain, tmp_path / "b.png").is_file()


def test_folder_must_be_there(scene, tmp_path):
    with pytest.raises(InputRefused, match="is no folder"):
        pressure_picture(scene, tmp_path / "none" / "p.png")
