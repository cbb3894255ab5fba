"""Dropkiln: an offline batch renderer of double-drop previews."""

__version__ = "0.1.0"
