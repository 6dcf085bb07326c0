"""What every web server of ours stands on: who may ask for what, and what browsers are told.

Nothing here knows a season. `guard.py` stands before every request, by `bodies.py` what comes,
`answers.py` what goes back, `refusals.py` what does not; `sessions.py` and `signed.py` know who
asks again, `limits.py` how often; `passwords.py` keeps a password as argon2's hash, `static.py`
gives out files of a fixed list, `reach.py` says from where a server is reached, `serving.py` and
`connections.py` run it by uvicorn.
"""
