"""Faults planted on good sessions, and a judge of the words that shares no code with the product.

``ledger`` knows from the simulator what was said and what proves what, ``faults`` spoil a recording, ``judge``
tells a wrong *confirmed* from a right one. The tests in ``properties`` run a few hundred trials,
``python -m tests.long_run`` as many as one likes.
"""
