"""Several seasons as one collection: listed, measured, their growth, one index site.

One season is open at a time, whatever their number. One that cannot be used is told, and the others
go on.
"""
