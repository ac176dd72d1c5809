"""Clock corrections in words."""

from __future__ import annotations

from archive.model.place import ClockCorrection


def correction_in_words(clock: ClockCorrection, *, off: bool = False) -> str:
    """What a correction adds, to which readings, and how it grows; ``off`` tells of one taken back."""
    seconds = (clock.true - clock.reads).total_seconds()
    told = f"{seconds:+.1f} s are {'no longer ' if off else ''}added to what its clock reads"
    if clock.since is not None:
        told += f" from {clock.since:%Y-%m-%d %H:%M:%S} UTC on"
    if clock.until is not None:
        told += f" up to {clock.until:%Y-%m-%d %H:%M:%S} UTC"
    if clock.drift:
        gains = "gains" if clock.drift > 0 else "loses"
        told += f"; it {gains} {abs(clock.drift):g} s a day, counted from {clock.reads:%Y-%m-%d %H:%M:%S} UTC"
    return told + "."
