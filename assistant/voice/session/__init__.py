"""People, job and record brought together.

`channel` is one microphone and its utterances on their way, `attendant` decides what is done about
each, `recorded` plays recordings into a session, `staged` a script by two synthetic people, `live`
has microphones and loudspeakers.
"""
