"""Speech in and out of a job, in stages, by the way of a word:

`devices` give frames of sound, `detection` cuts them into utterances, `recognition` hears words in
them, `interpretation` decides what they mean, `session` brings people, job and record together, and
`output` says the answers. `device_check` tells what a microphone and a loudspeaker are worth.

Heavy imports (numpy, the engines) stay inside the modules that need them, and none of these
modules is imported by a command that works by text.
"""
