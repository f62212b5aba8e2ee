"""Glassine: from camera masters of film to access images, records and a delivery."""

__version__ = "0.1.0"
