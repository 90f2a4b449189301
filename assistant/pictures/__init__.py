"""The truck as a picture: SVG for a screen two metres away, plain characters for a terminal.

- ``snapshot``: the lengths of one moment, as read or as they will be,
  and the pedal stroke as stretches and bands of tolerance;
- ``svg``: an SVG sheet with the stroke, the chain, or its rods and levers;
- ``plain``: stroke and chain in plain characters, and the picture in words.

Nothing is told by colour alone: stretches differ by hatching and by name, verdicts are words.
"""
