"""Followers' pictures: received, checked, kept until they are shown, declined or taken back.

Nothing received is ever published without the grower's yes.
"""
