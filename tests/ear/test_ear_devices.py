"""Devices by name where one stands under several host interfaces, as Windows lists them."""

from __future__ import annotations

from typing import Any

import pytest

from companion.ear import devices_called, devices_with


class Windows:
    """The lists of sounddevice on Windows with a headset and built-in sound: PortAudio gives MME first (its pa_win_hostapis.c
    begins with it), whose names are cut to 31 letters, and every device once for each interface."""

    interfaces = ("MME", "Windows DirectSound", "Windows WASAPI", "Windows WDM-KS")
    devices = (
        ("Microsoft Sound Mapper - Input", 0, 2, 0), ("Headset (Singing Friends Audio ", 0, 1, 0),
        ("Microphone (Built-in Sound)", 0, 2, 0), ("Headset (Singing Friends Audio ", 0, 0, 2),
        ("Primary Sound Capture Driver", 1, 2, 0), ("Headset (Singing Friends Audio Device)", 1, 1, 0),
        ("Microphone (Built-in Sound)", 1, 2, 0),
        ("Headset (Singing Friends Audio Device)", 2, 0, 2), ("Headset (Singing Friends Audio Device)", 2, 1, 0),
        ("Microphone (Built-in Sound)", 2, 2, 0), ("Microphone (Built-in Sound)", 3, 2, 0))

    def query_hostapis(self) -> Any:
        return tuple({"name": name} for name in self.interfaces)

    def query_devices(self) -> Any:
        return [{"name": n, "hostapi": h, "max_input_channels": i, "max_output_channels": o} for n, h, i, o in self.devices]


class Linux(Windows):
    """ALSA may give two devices one name."""

    interfaces = ("ALSA",)
    devices = (("USB Mike", 0, 1, 0), ("USB Mike", 0, 1, 0), ("Built-in", 0, 2, 2))


def test_a_headset_is_listed_once_by_its_whole_name() -> None:
    assert devices_with(Windows(), "input") == [
        (0, "Microsoft Sound Mapper - Input"), (4, "Primary Sound Capture Driver"),
        (8, "Headset (Singing Friends Audio Device)"), (9, "Microphone (Built-in Sound)")]
    assert devices_with(Windows(), "output") == [(7, "Headset (Singing Friends Audio Device)")]


@pytest.mark.parametrize("said", ["headset", "Headset (Singing Friends Audio ", "singing friends"])
def test_part_of_its_name_fits_one(said: str) -> None:
    assert devices_called(said, devices_with(Windows(), "input")) == [(8, "Headset (Singing Friends Audio Device)")]


def test_other_systems_keep_their_list() -> None:
    assert devices_with(Linux(), "input") == [(0, "USB Mike"), (1, "USB Mike"), (2, "Built-in")]
