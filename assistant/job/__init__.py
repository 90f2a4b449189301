"""One truck's job.

- ``state``: what it knows, of the truck and of itself; ``plan``: what is planned from that;
- ``job``: acts in, replies out, by the table ``HANDLERS``;
- ``pedal``: stop, pause, carry on, hold and release; ``readings``: taken, judged, corrected;
  ``answers``: done, sound, talk about the job, sign-off;
- ``kinds``: what each kind of step expects, allows and says;
- ``machine``: the order, with its guards; ``diagram``: drawn from it;
- ``words``, ``plan_words``: computed things in trade words.
"""
