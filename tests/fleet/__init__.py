"""A fleet that never was, with its truth known: for tests and benchmarks of the lead's desk.

- ``truth``: trucks, how they wear, and every visit with what goes wrong in it;
- ``played``: a visit played through the real session, for hundreds;
- ``stamped``: records of the same form written quickly, for a hundred thousand.
"""
