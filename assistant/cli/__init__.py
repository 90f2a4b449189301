"""The commands; ``main`` is the program, ``terminal`` what all of them share."""
