"""A season's text files changed as a careful hand would change them, and everything undone."""
