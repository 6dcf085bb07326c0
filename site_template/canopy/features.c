/* The colour of a pixel and of its surroundings (lapsekit/vision/features.py), four to a pixel:
   L*, a*, b* and excess green. Wide means are kept small and enlarged where they are looked at. */

#include "canopy.h"

enum { GRID = 4 };

/* The pixel at a place of the picture, its last row and column repeated beyond it. */
static const u8 *pixel(int x, int y) {
  x = least(x, picture.width - 1);
  y = least(y, picture.height - 1);
  return picture.rgb + ((size)y * picture.width + x) * 3;
}

static void own_colours_of_picture(feature_planes *p) {
  f4 *to = p->own = take((size)p->width * p->height * sizeof(f4));
  for (int y = 0; y < p->height; y++)
    for (int x = 0; x < p->width; x++) *to++ = colour_of(pixel(x, y));
}

static f4 *copied(const f4 *plane, int count) {
  f4 *found = take((size)count * sizeof(f4));
  for (int i = 0; i < count; i++) found[i] = plane[i];
  return found;
}

static f4 *halved(const f4 *plane, int width, int height) {
  f4 *found = take((size)(width / 2) * (height / 2) * sizeof(f4)), *to = found;
  for (int y = 0; y < height; y += 2)
    for (int x = 0; x < width; x += 2) {
      const f4 *at = plane + (size)y * width + x;
      *to++ = (at[0] + at[1] + at[width] + at[width + 1]) * SPLAT(0.25f);
    }
  return found;
}

/* How far L* lies from its mean, squared, at half resolution. */
static void spread_of_lightness(feature_planes *p) {
  int width = p->width, half = width / 2;
  f4 *row = take((size)width * sizeof(f4));
  p->spread = take((size)half * (p->height / 2) * sizeof(f4));
  __builtin_memset(p->spread, 0, (size)half * (p->height / 2) * sizeof(f4));
  for (int y = 0; y < p->height; y++) {
    enlarged_row(p->mean, half, p->height / 2, 2, y, row);
    f4 *to = p->spread + (size)(y / 2) * half;
    const f4 *own = p->own + (size)y * width;
    for (int x = 0; x < width; x++) {
      f4 away = own[x] - row[x];
      to[x / 2] += away * away * SPLAT(0.25f);
    }
  }
  blur(p->spread, half, p->height / 2, rule.half_blur);
}

/* Colours of the means of 4 × 4 pixels, rounded to whole numbers, halves to even. */
static f4 *colours_of_grid(const feature_planes *p) {
  f4 *found = take((size)(p->width / GRID) * (p->height / GRID) * sizeof(f4)), *to = found;
  for (int y = 0; y < p->height; y += GRID)
    for (int x = 0; x < p->width; x += GRID) {
      u8 mean[3];
      for (int c = 0; c < 3; c++) {
        u32 sum = 0;
        for (int k = 0; k < GRID * GRID; k++) sum += pixel(x + k % GRID, y + k / GRID)[c];
        mean[c] = (u8)__builtin_rintf((float)sum / (GRID * GRID));
      }
      *to++ = colour_of(mean);
    }
  return found;
}

void features_begin(feature_planes *p) {
  p->width = (picture.width + GRID - 1) / GRID * GRID;
  p->height = (picture.height + GRID - 1) / GRID * GRID;
  own_colours_of_picture(p);
  p->near = copied(p->own, p->width * p->height);
  blur(p->near, p->width, p->height, rule.near_blur);
  p->mean = halved(p->own, p->width, p->height);
  blur(p->mean, p->width / 2, p->height / 2, rule.half_blur);
  spread_of_lightness(p);
  int columns = p->width / GRID, rows = p->height / GRID;
  p->wide[0] = colours_of_grid(p);
  p->wide[1] = copied(p->wide[0], columns * rows);
  for (int k = 0; k < 2; k++) blur(p->wide[k], columns, rows, rule.wide_blur[k]);
}
