"""A bench of boards, pots and growing plants under changing light, drawn from a seed."""

from datetime import UTC, datetime, timedelta

import cv2
import numpy as np

WIDTH, HEIGHT = 480, 360
START = datetime(2031, 4, 1, 8, tzinfo=UTC)
HOURS = (0, 3, 6, 9)
POT = """\
[[region]]
name = "pot"
camera = "bench"
[[region.outline]]
from = 2031-04-01
points = [[20, 30], [140, 30], [140, 150], [20, 150]]
"""


def moment(number):
    """Four frames a day: 08:00, 11:00, 14:00 and 17:00."""
    return START + timedelta(days=number // 4, hours=HOURS[number % 4])


def reflectance(growth=0.0):
    """What the bench sends back of the light, (height, width, 3), 0 to 1."""
    rng = np.random.default_rng(1)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (HEIGHT, WIDTH)).astype(np.float32), (0, 0), 1.2)
    bench = np.full((HEIGHT, WIDTH, 3), (0.30, 0.22, 0.15), np.float32)
    bench *= 1 + 0.5 * grain[..., None]
    bench[::60] *= 0.3  # gaps between boards
    for x in (80, 240, 400):
        for y in (90, 250):
            cv2.circle(bench, (x, y), 52, (0.35, 0.14, 0.09), -1)
            soil = np.zeros((HEIGHT, WIDTH), np.uint8)
            cv2.circle(soil, (x, y), 44, 1, -1)
            bench[soil > 0] = np.array((0.07, 0.05, 0.035)) * (1 + 0.8 * grain[soil > 0, None])
            leaf = np.zeros((HEIGHT, WIDTH), np.uint8)
            cv2.circle(leaf, (x, y), int(10 + growth), 1, -1)
            bench[leaf > 0] = np.array((0.06, 0.20, 0.04)) * (1 + 0.5 * grain[leaf > 0, None])
    cv2.rectangle(bench, (10, 320), (40, 350), (0.85, 0.85, 0.85), -1)
    return np.clip(bench, 0.005, 1)


def photographed(light, seed, quality=90):
    """Linear light as a camera's JPEG, with noise of its own."""
    noise = np.random.default_rng([3, seed]).normal(0, 1.5, light.shape)
    levels = np.clip(np.clip(light, 0, 1) ** (1 / 2.2) * 255 + noise, 0, 255).astype(np.uint8)
    data = cv2.imencode(".jpg", levels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


def light_of(number):
    """The bench in linear light: cloud on every second day, else sun with a moving shadow."""
    rng = np.random.default_rng([5, number])
    light = reflectance(growth=number * 0.2) * rng.uniform(0.85, 1.15)
    if number // 4 % 2:
        shade = np.ones((HEIGHT, WIDTH), np.float32)
        x = 40 + 110 * (number % 4) + int(rng.integers(-8, 8))
        shade[:, x : x + 45] = 0.3
        light = light * cv2.GaussianBlur(shade, (0, 0), 1.5)[..., None]
    return light


def frame(number):
    return photographed(light_of(number), number)
