"""What a shop takes out of the desk, into programs and onto paper of its own.

- ``due_list``: when trucks are due, as a calendar file and as CSV;
- ``audit``: a time's records against the seals on paper.
"""
