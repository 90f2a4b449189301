"""What the lead looks at: one job and a fleet as HTML pages that need no network and print well.

- ``job_page``: one record's page; ``drawings``: its pictures;
- ``questions``: what the fleet page asks of the index; ``fleet_page``, ``charts``: many jobs on it,
  and the folder of pages;
- ``truck_page``, ``returns``: one truck's life, and why it came back; ``trend``: getting better?
- ``render``: templates, with everything from records escaped.
"""
