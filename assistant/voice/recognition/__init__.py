"""Words in an utterance, heard inside what may be said.

`grammar` is how that is written, `expected` what it is now; `recognizer` is the interface of all
recognizers and what one gives: `whisper` (weights in `whisper_model`, the search in
`whisper_search`) and `vosk_recognizer`. `models` finds them on the disk; `recognizers` has all of
them listen.
"""
