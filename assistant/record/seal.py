"""The seal: a short code for a record's head, written by hand on the paper work order.

A hash chain shows any change inside a record but not that its last lines were cut off: what
is left is a good chain. The code on paper shows that. It is 32 bits of the head's hash:
enough against accident and a casual edit, not against someone who spends an hour of computing
on a forgery (some 4e9 tries); for that, keep the whole hash.
"""

# None of these letters is a hex digit, so a hand-written code can be read back kindly.
_LOOKALIKE = str.maketrans("OILSZ", "01152")


def seal_of(head: str) -> str:
    """Give the seal of a head hash (hex): its first 8 digits, like `3F2A-91BC`."""
    return f"{head[:4]}-{head[4:8]}".upper()


def read_seal(text: str) -> str | None:
    """Read a seal as typed from paper, in either case, spaces and dashes ignored.

    Gives it as `seal_of` spells it, or None when it is not 8 hex digits.
    """
    digits = "".join(c for c in text.upper() if not c.isspace() and c not in "-–—_.")
    digits = digits.translate(_LOOKALIKE)
    if len(digits) != 8 or any(c not in "0123456789ABCDEF" for c in digits):
        return None
    return seal_of(digits)
