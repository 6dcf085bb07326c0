"""What stands on a film's picture: slips of paper with date, curve, diary, names and thread.

`told.py` is what it is told, in plain values; `face.py` draws it; `cards.py` makes whole pictures
of paper. Every slip is a pure function of what is known up to the film picture that it lies on, so
that a film that grows keeps the pictures it has.
"""
