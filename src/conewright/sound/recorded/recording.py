"""A recording: its samples, its rate, and which file it came from."""

from __future__ import annotations

from dataclasses import dataclass

from conewright.physics.basics.arrays import FloatArray

__all__ = ["Recording"]


@dataclass(frozen=True, slots=True)
class Recording:
    """Samples as a recorder wrote them.

    name: of the file as it came. samples: shape (channels, N), full scale 1. rate: samples a
    second. sha256: of the file's bytes. lossy: whether the file's own format drops what it takes
    to be inaudible. coarse: bits a second of each channel where they are too few for levels.

    >>> import conewright as cw
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     file, _ = cw.sounds(folder, only="pulses")
    ...     cw.recording(file).seconds
    6.75
    """

    name: str
    samples: FloatArray
    rate: float
    sha256: str
    lossy: bool = False
    coarse: float | None = None

    @property
    def seconds(self) -> float:
        """Length [s]."""
        return float(self.samples.shape[-1] / self.rate)
