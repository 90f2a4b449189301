"""The making of a card by question and answer; which question is next is in ``card.draft``.

- ``interview``: the dialogue: what is asked and taken now, acts in, replies out;
- ``words``: its words, from ``dialogs/``;
- ``talk``: the dialogue with its draft on the disk.
"""
