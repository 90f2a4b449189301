"""What the lead looks at: one job and a fleet as HTML pages that need no network and print well.

- ``story``: one record as a job page tells it, from ``readings``, ``moves``, ``holds``, ``talk``,
  ``cautions`` and ``doubts``;
- ``drawings``: its pictures; ``job``: the page;
- ``fleet``, ``charts``: many jobs on one page;
- ``render``: templates, with everything from records escaped.
"""
