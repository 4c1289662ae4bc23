"""Sound devices found by their names, microphones and loudspeakers alike."""

from __future__ import annotations

from collections.abc import Sequence


def devices_called(name: str, devices: Sequence[tuple[int, str]]) -> list[tuple[int, str]]:
    """Those of the devices (PortAudio's number, name) that are called so, else those whose name has it as a part.

    Capitals do not count. Empty where none fits, or where there is no name.
    """
    wanted = name.strip().lower()
    return ([d for d in devices if d[1].lower() == wanted]
            or [d for d in devices if wanted and wanted in d[1].lower()])
