"""The bars of an invented chain of two rods, as a card has them, and a chain with a rod turned."""

from dataclasses import replace

from assistant.clutch.linkage.levers import LeverChain

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


def with_rod(chain: LeverChain, index: int, more_in: float) -> LeverChain:
    """The same parts with one rod longer; angles after it are those the longer rod gives.

    Raises:
        LinkageError: the longer rod does not fit.
    """
    stages = list(chain.stages)
    old = stages[index]
    bar = replace(old.bar, rod_in=old.bar.rod_in + more_in)
    moved = bar.driven(old.rest) - old.bar.driven(old.rest)
    stages[index] = replace(old, bar=bar)
    # The shaft behind it has turned, and every stage after it stands at another angle.
    turned = moved * old.way
    for i in range(index + 1, len(stages)):
        stage = stages[i]
        rest = stage.rest + turned if stage.pull else stage.rest - turned
        turned = stage.turn(turned)
        stages[i] = replace(stage, rest=rest)
    return replace(chain, stages=tuple(stages), tip=chain.tip + turned)
