"""The generator of the rendered sample season: story, plants, exact truth and pictures.

Modules, each importing only from those above it: `layout` (where things stand, the camera's
view), `story` (dates, events, mishaps), `weather` (temperature, sky, sun, water), `growth` (the
growth law), `leaves`, `mesh`, `species`, `pests`, `flower`, `plants` (geometry), `moment` (the
plants of one moment), `bench` and `visitor` (the other things in the picture), `raster` (exact
masks), `truth` and `season_files` (tables and text files), `textures`, `camera` (from light to
JPEG), `materials` and `scene` (the only modules that need bpy) and `make` (the command line).
"""
