"""What the lead looks at: one job and a fleet as HTML pages that need no network and print well.

- ``job_page``: one record's page; ``drawings``: its pictures;
- ``questions``: what the fleet page asks of the index; ``fleet_page``, ``charts``: many jobs on it,
  and the folder of pages;
- ``render``: templates, with everything from records escaped.
"""
