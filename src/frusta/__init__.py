"""Which filament, printed how, in which cone shape, makes a good loudspeaker diaphragm."""

from frusta.version import __version__

__all__ = ["__version__"]
