"""From complaint to cause: a small table of chances, weighed, and the next reading that tells most.

- ``table``: the causes; ``load``: read from ``dialogs/`` and checked;
- ``weigh``: the arithmetic alone: chances of the causes, and how much a finding would tell;
- ``evidence``: readings and answers as findings;
- ``case``: one truck's complaint, what is known so far, and what is said about it;
- ``ask``: the conversation about it, a line in, lines out.
"""
