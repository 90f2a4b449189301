"""How fast this truck's clutch wears, and when it is due again: always a range, never one date.

- ``past``: what finished records say, one visit each;
- ``worn``: free travel lost between two visits, adjustments taken out;
- ``mixed``: the random-slope model: this truck's rate, shrunk toward similar trucks; arithmetic;
- ``due``: miles, dates and lugs from the rate, as ranges;
- ``say``: in one breath, and the longer why;
- ``recall``: the same at sign-off, worked out beside the job.

Only standard Python: a job must not wait for numpy, and one slope a truck needs no matrix.
"""
