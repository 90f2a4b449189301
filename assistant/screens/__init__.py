"""Screens: one small server and three pages that share a live job.

In reading order: `view` says what each page shows of a dialogue; `bay` is one live job, its
numbered messages and the screens that show it; `access` knows who may see and say what; `server`
has the addresses; `ears` is a page's microphone and loudspeaker.
"""
