"""The season for the grower's other places: feeds, cards, calendar, data, marks for machines.

Pure functions: what a season tells (`told`) and the words of its language in, bytes or text out.
What they give depends on nothing but what it shows, so that a second build changes nothing.
"""
