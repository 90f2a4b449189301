"""Sound for tests, the benchmark and the closed loop: voices, noises, channels, phrases.

Everything is synthesized here from seeds or by speech programs of different make; nothing is
recorded from people.
"""
