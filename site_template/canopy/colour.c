/* CIE L*a*b* as OpenCV computes it from floats: between the points of a grid of 33 levels a
   channel, in steps of a sixteenth, with numbers of 14 bits. Those of the rule were learned from it. */

#include "canopy.h"

enum { LEVELS = 33, CELL_BITS = 9, STEP_BITS = 5, STEPS = 16, FULL = 16384 };

typedef short s4 __attribute__((vector_size(8)));

static s4 *grid;
static u8 cell[256], within[256];

static double cube_root(double x) {
  double root = x > 1 ? x : 1;
  for (int i = 0; i < 60; i++) root -= (root * root * root - x) / (3 * root * root);
  return root;
}

static double bent(double x) { return x > 0.008856 ? cube_root(x) : 7.787 * x + 16.0 / 116; }

static short rounded(double x) { return (short)__builtin_rint(x); }

static s4 grid_point(double red, double green, double blue) {
  double x = (0.412453 * red + 0.357580 * green + 0.180423 * blue) / 0.950456;
  double y = 0.212671 * red + 0.715160 * green + 0.072169 * blue;
  double z = (0.019334 * red + 0.119193 * green + 0.950227 * blue) / 1.088754;
  double lightness = y > 0.008856 ? 116 * cube_root(y) - 16 : 903.3 * y;
  double a = 500 * (bent(x) - bent(y)), b = 200 * (bent(y) - bent(z));
  s4 found = {rounded(FULL * lightness / 100), rounded(FULL * (a + 128) / 256),
              rounded(FULL * (b + 128) / 256), 0};
  return found;
}

void colour_begin(void) {
  const float *light = rule.grid_linear.at;
  grid = take(LEVELS * LEVELS * LEVELS * sizeof(s4));
  for (int r = 0; r < LEVELS; r++)
    for (int g = 0; g < LEVELS; g++)
      for (int b = 0; b < LEVELS; b++)
        grid[(r * LEVELS + g) * LEVELS + b] = grid_point(light[r], light[g], light[b]);
  for (int i = 0; i < 256; i++) {
    int at = (int)__builtin_rint((double)((float)i / 255.0f * (float)FULL));
    int first = least(at >> CELL_BITS, LEVELS - 2); /* the last level ends a cell, begins none */
    cell[i] = (u8)first;
    within[i] = (u8)((at - (first << CELL_BITS)) >> STEP_BITS);
  }
}

static inline i4 between(i4 a, i4 b, int part) {
  return a * (STEPS - part) + b * part;
}

static inline i4 at_point(int index) { return __builtin_convertvector(grid[index], i4); }

void shares_of_pixel(const u8 *rgb, float *red, float *green) {
  float dark = number(DARK), total = (float)(rgb[0] + rgb[1] + rgb[2]) + 3 * dark;
  *red = ((float)rgb[0] + dark) / total;
  *green = ((float)rgb[1] + dark) / total;
}

f4 colour_of(const u8 *rgb) {
  int first = (cell[rgb[0]] * LEVELS + cell[rgb[1]]) * LEVELS + cell[rgb[2]];
  int r = within[rgb[0]], g = within[rgb[1]], b = within[rgb[2]];
  i4 along[4];
  for (int corner = 0; corner < 4; corner++) {
    int index = first + (corner >> 1) * LEVELS * LEVELS + (corner & 1) * LEVELS;
    along[corner] = between(at_point(index), at_point(index + 1), b);
  }
  i4 sum = between(between(along[0], along[1], g), between(along[2], along[3], g), r);
  f4 lab = __builtin_convertvector((sum + 2048) >> 12, f4);
  float red, green;
  shares_of_pixel(rgb, &red, &green);
  lab = lab * (f4){100.0f / FULL, 256.0f / FULL, 256.0f / FULL, 0};
  lab -= (f4){0, 128, 128, 0};
  lab[3] = 3 * green - 1;
  return lab;
}
