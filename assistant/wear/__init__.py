"""How fast this truck's clutch wears, and when it is due again: always a range, never one date.

- ``visits``: what finished records say, one visit each, and what was lost between two;
- ``rate``: the random-slope model: this truck's rate, shrunk toward similar trucks; arithmetic;
- ``outlook``: miles, dates and lugs from the rate, as ranges;
- ``say``: in one breath, and the longer why;
- ``recall``: the same at sign-off, worked out beside the job.

Only standard Python: a job must not wait for numpy, and one slope a truck needs no matrix.
"""
