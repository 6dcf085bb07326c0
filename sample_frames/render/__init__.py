"""The generator of the rendered sample season: story, plants, exact truth and pictures.

Modules, each importing only those above it: `layout` (where things stand, the camera's view),
`story` (dates, events, light), `growth` (the growth law), `leaves` and `plants` (geometry),
`bench` and `visitor` (the other things in the picture), `raster` (exact masks), `truth` and
`season_files` (tables and text files), `textures`, `camera` (from light to JPEG), `scene` (the
only module that needs bpy) and `make` (the command line).
"""
