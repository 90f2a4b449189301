"""Microphones and loudspeakers.

`audio` is sound as numbers, `portaudio` the library with its devices and streams, `streams` one
device in use, that may be unplugged and come back, and a microphone as frames of 32 ms.
"""
