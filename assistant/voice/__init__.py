"""Ears, turn-taking and mouth: audio in and out of a job.

Heavy imports (numpy, the engines) stay inside the modules that need them, and none of these
modules is imported by a command that works by text.
"""
