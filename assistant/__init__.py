"""lugcall: a voice and text assistant for setting a heavy truck's clutch."""

__version__ = "0.1.0"
