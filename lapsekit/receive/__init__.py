"""The upload page, for those with a server: followers send pictures, and take them back.

A process of its own beside ``lapsekit run``: what anybody on the internet can reach knows of the
season what stands on these pages, and what it keeps waits for the grower's yes.
"""
