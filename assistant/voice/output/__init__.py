"""What is said aloud.

`queue` says replies by their urgency, on one output or two, and is silent at once; `synthesizer`
makes words for the ear and sound of them, in a process of its own (`speech_worker`); `earcons` are
the signals; `player` is a loudspeaker, or none.
"""
