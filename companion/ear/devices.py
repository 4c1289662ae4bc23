"""Sound devices found by their names, microphones and loudspeakers alike."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

#: Host interfaces by PortAudio's names, best first. Windows lists each device once for every one of them: WASAPI gives the
#: whole name and the least delay; MME cuts names, and kernel streaming takes a device away from all other programs. Each
#: other system has one that its devices stand under once.
INTERFACES = ("Windows WASAPI", "Windows DirectSound", "MME", "Windows WDM-KS")
MME_LETTERS = 31  # of a name that MME gives (Microsoft, MAXPNAMELEN of mmsystem.h is 32 with the zero at its end)


def devices_with(portaudio: Any, direction: str) -> list[tuple[int, str]]:
    """(PortAudio's number, name) of each device with channels of a direction, "input" or "output", in the system's order.

    A device that stands under several host interfaces is listed once. portaudio: the module sounddevice.
    """
    interfaces = [str(h["name"]) for h in portaudio.query_hostapis()]
    found = [(number, str(device["name"]), interfaces[device["hostapi"]])
             for number, device in enumerate(portaudio.query_devices()) if device[f"max_{direction}_channels"] > 0]
    ranked = sorted(found, key=lambda d: INTERFACES.index(d[2]) if d[2] in INTERFACES else -1)
    kept: list[tuple[int, str]] = []
    for number, name, interface in ranked:
        if interface not in INTERFACES or not any(_same(name, other) for _number, other in kept):
            kept.append((number, name))
    return sorted(kept)


def _same(name: str, other: str) -> bool:
    """Whether two interfaces mean one device: by equal names, or by the letters that MME leaves of one."""
    return name == other or (len(name) >= MME_LETTERS and other.startswith(name[:MME_LETTERS]))


def devices_called(name: str, devices: Sequence[tuple[int, str]]) -> list[tuple[int, str]]:
    """Those of the devices (PortAudio's number, name) that are called so, else those whose name has it as a part.

    Capitals do not count. Empty where none fits, or where there is no name.
    """
    wanted = name.strip().lower()
    return ([d for d in devices if d[1].lower() == wanted]
            or [d for d in devices if wanted and wanted in d[1].lower()])
