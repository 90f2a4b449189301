"""Linkages as models: what stands between the pedal's pad and the fork's tips.

- ``stroke``: what every linkage tells, and the pedal's figures from any of them;
- ``levers``: rods and levers: four-bars in a row, each solved exactly as loop closure;
- ``cable``: elastic stretch and the adjuster's thread;
- ``hydraulic``: bores, strokes, fluid, trapped air, a slave that fills by itself;
- ``lost_motion``: where motion is lost, as far as the readings can tell.

Lengths in inches, forces in pounds, angles inside in radians.
"""
