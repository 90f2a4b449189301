"""The mechanics of a pull-type clutch: pure arithmetic, no input or output, and no words.

Read the modules in this order:

- ``conformity``: a reading and its standard uncertainty; the default figures; in, out, or too
  close to call;
- ``thread``: published screw threads;
- ``ring``: what is believed of the adjusting ring, how many lugs, and what a move really did;
- ``equations``: one truck as read, what each adjuster moves, and where every quantity ends;
- ``solver``: the best setting of what is free to be moved, or what no setting can put in;
- ``linkage``: rods, cable and fluid as models, and where motion is lost.

All lengths are plain floats in inches and are named ``_in``.
"""
