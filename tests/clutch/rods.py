"""The bars of an invented chain of two rods, as a card has them."""

BARS = """\
[[linkage.bar]]
name = "pedal rod"
arm = "3 in"
rod = "14 in"
lever = "6 in"
pivots = "14-1/2 in"
angle = 75
moves = "pull"
[[linkage.bar]]
name = "shaft rod"
arm = "3 in"
rod = "10 in"
lever = "5 in"
pivots = "10-1/2 in"
angle = 95
moves = "push"
"""
