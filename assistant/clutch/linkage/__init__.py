"""Linkages as models: what stands between the pedal's pad and the fork's tips.

- ``protocol``: what every linkage tells: travel, ratio, motion lost under load;
- ``stroke``: the pedal's figures from any of them;
- ``fourbar``: one four-bar, solved exactly as loop closure;
- ``levers``: rods and levers, any number of four-bars in a row;
- ``cable``: elastic stretch and the adjuster's thread;
- ``hydraulic``: bores, strokes, fluid, trapped air, a slave that fills by itself;
- ``lost_motion``: where motion is lost, as far as the readings can tell.

Lengths in inches, forces in pounds, angles inside in radians.
"""
