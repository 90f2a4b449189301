"""From complaint to cause: a small table of chances, weighed, and the next reading that tells most.

- ``table``: the causes, read from ``dialogs/`` and checked;
- ``case``: the arithmetic, readings and answers as findings, and what is said of one truck;
- ``ask``: the conversation about it, a line in, lines out.
"""
