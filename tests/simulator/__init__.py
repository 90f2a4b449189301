"""A truck, its people and its gauges, simulated: the judge of what a whole job leaves behind.

truck.py the physics, from parts placed on an axis; kinds.py random trucks with their cards;
gauges.py what a gauge shows and how it is called out; people.py who reads, turns and answers;
brute.py whether any setting would do; judge.py one truck's job and its verdict.

`python -m tests.simulator 20000 --seed 1 --jobs 2` plays many and prints what became of them.
"""
