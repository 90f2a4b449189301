"""The mechanics of a pull-type clutch: pure arithmetic, no input or output.

Read the modules in this order:

- ``uncertainty``: a reading and its standard uncertainty;
- ``conformity``: in, out, or too close to call, and the gauge that settles it;
- ``figures``: the default figures, each with whose figure it is;
- ``belief``: what is believed of this truck's adjusting ring;
- ``move``: what a ring move really did, judged from the gap before and after;
- ``ring``: how many whole lugs to move the ring (and the two above);
- ``thread``: published screw threads, and turns and flats of a rod;
- ``rod``: how many flats, weighing fork clearance against free travel;
- ``ratio``: the two estimates of the pedal ratio, and what their quarrel means;
- ``pedal``: free travel, brake contact and bearing travel (and the one above);
- ``predict``: where the readings will be after both moves;
- ``used_ratio``: which pedal ratio to work with;
- ``plan``: the whole adjustment, ring first, rod after;
- ``notes``: what to say beside a plan's numbers;
- ``adjusters``: ring, rod and both stops: what a step moves, and what touching it costs;
- ``effects``: where every quantity will be after a setting of all four;
- ``settings_rank``, ``settings_rows``, ``settings_search``: the best setting, without trying all;
- ``settings``: the solver, with candidates, and what no setting can put in;
- ``condemned``: the part that points at;
- ``linkage``: rods, cable and fluid as models, and where motion is lost.

All lengths are plain floats in inches and are named ``_in``.
"""
