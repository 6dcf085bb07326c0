/* Which of a picture's own kinds a colour is like (lapsekit/vision/leaf_likeness.py). */

#include "canopy.h"

static int level_of(u8 value) { return (int)rule.levels.at[value]; }

static int place_of(const u8 *rgb, int levels) {
  return (level_of(rgb[0]) * levels + level_of(rgb[1])) * levels + level_of(rgb[2]);
}

/* Weights 1, 2, 1 along a direction; what lies outside the grid is empty. */
static void average(float *counts, float *copy, int levels, int red, int green, int blue) {
  int step = (red * levels + green) * levels + blue;
  __builtin_memcpy(copy, counts, (size)levels * levels * levels * sizeof(float));
  for (int r = 0, i = 0; r < levels; r++)
    for (int g = 0; g < levels; g++)
      for (int b = 0; b < levels; b++, i++) {
        int first = r < red || g < green || b < blue;
        int last = r + red >= levels || g + green >= levels || b + blue >= levels;
        counts[i] = ((first ? 0 : copy[i - step]) + (last ? 0 : copy[i + step])) / 4 + copy[i] / 2;
      }
}

/* Counts become shares of the kind's pixels. */
static void smooth(float *counts, float *copy, int levels, float total) {
  for (int k = 0; k < (int)number(LIKE_SMOOTHED); k++)
    for (int channel = 0; channel < 3; channel++)
      average(counts, copy, levels, channel == 0, channel == 1, channel == 2);
  for (int k = 0; k < (int)number(LIKE_SMOOTHED_LIGHT); k++) average(counts, copy, levels, 1, 1, 1);
  for (int i = 0; i < levels * levels * levels; i++) counts[i] /= total + number(LIKE_LEAST_PX);
}

/* Into `found`: how like leaf the colour of each pixel is, and how common, as logarithms. */
void leaf_likeness(const float *shares, f4 *found) {
  size mark = heap_mark();
  int levels = (int)number(LIKE_LEVELS), colours = levels * levels * levels;
  int count = picture.width * picture.height;
  float *counts[2], *copy = take((size)colours * sizeof(float)), totals[2] = {0, 0};
  for (int kind = 0; kind < 2; kind++) {
    counts[kind] = take((size)colours * sizeof(float));
    __builtin_memset(counts[kind], 0, (size)colours * sizeof(float));
  }
  for (int i = 0; i < count; i++)
    for (int kind = 0; kind < 2; kind++)
      if (kind ? surely_ground(shares[i]) : surely_leaf(shares[i])) {
        counts[kind][place_of(picture.rgb + (size)i * 3, levels)] += 1;
        totals[kind] += 1;
      }
  for (int kind = 0; kind < 2; kind++) smooth(counts[kind], copy, levels, totals[kind]);
  for (int i = 0; i < colours; i++) {
    float leaf = counts[0][i], ground = counts[1][i], rare = number(LIKE_RARE);
    counts[0][i] = (float)natural_log((leaf + rare) / (ground + rare));
    counts[1][i] = (float)natural_log(leaf + ground + rare);
  }
  for (int i = 0; i < count; i++) {
    int at = place_of(picture.rgb + (size)i * 3, levels);
    found[i] = (f4){counts[0][at], counts[1][at], 0, 0};
  }
  heap_release(mark);
}
