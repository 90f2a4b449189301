"""What lies beside records, held in them by its hash: sound and photos.

- ``photos``: put beside a job; ``retention``: what is old is removed, and the record says which.
"""
