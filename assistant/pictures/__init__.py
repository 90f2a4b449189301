"""The truck as a picture: SVG for a screen two metres away, plain characters for a terminal.

- ``snapshot``: the lengths of one moment, as read or as they will be;
- ``stroke``: the pedal stroke as stretches and bands of tolerance; ``say``: in words;
- ``sheet``: an SVG sheet; ``stroke_svg``, ``chain_svg``, ``bars_svg``: what is drawn on it;
- ``plain``: both pictures in plain characters.

Nothing is told by colour alone: stretches differ by hatching and by name, verdicts are words.
"""
