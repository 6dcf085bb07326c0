"""What every web server of ours stands on: who may ask for what, and what browsers are told.

Nothing here knows a season. `guard.py` stands before every request, `sessions.py` knows who asks
again, `limits.py` how often, `passwords.py` keeps a password as argon2's hash, `serving.py` runs a
server by uvicorn.
"""
