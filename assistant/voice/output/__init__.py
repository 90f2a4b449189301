"""What is said aloud.

`queue` says replies by their urgency, on one output or two, and is silent at once; `spoken_text`
makes words for the ear; `synthesizer` makes sound of them, in a process of its own
(`speech_worker`); `earcons` are the signals; `player` is a loudspeaker, or none.
"""
