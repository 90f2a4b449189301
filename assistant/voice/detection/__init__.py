"""From frames of sound to utterances, by the way of a frame:

`echo_canceller` takes the assistant's own voice out, `noise_floor` knows how loud the shop is,
`vad` decides whether somebody speaks to us, `endpointer` where an utterance begins and ends.
"""
