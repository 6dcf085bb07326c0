"""Setting a season up, step by step: a module for each step, all under ``/setup/``.

Each step writes season.toml or regions.toml at once, can be left, and can be come back to.
"""

from lapsekit.desk.setting_up import (
    aim,
    beginning,
    camera,
    first,
    frames_in,
    scale,
    sowing,
    stretch,
    times,
)

ROUTES = (
    *beginning.ROUTES,
    *sowing.ROUTES,
    *camera.ROUTES,
    *frames_in.ROUTES,
    *aim.ROUTES,
    *times.ROUTES,
    *scale.ROUTES,
    *first.ROUTES,
    *stretch.ROUTES,
)
